"""How the refraction of an operated eye changes as it grows: published rates, and thin lenses.

Growth is a straight line at the plane of the lens against log10(age + 0.6 years). Refractions are
spherical equivalents in dioptres, before the eye (glasses) unless a name says otherwise; ages are
in years. Rates are magnitudes: a rate of 18 means that 18 D are lost over one unit of the log.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log10

from rehab.errors import MeasureError

YOUNGEST_YEARS, OLDEST_YEARS = 1 / 12, 10.5
AGE_OFFSET_YEARS = 0.6
# Index of aqueous and vitreous, times 1000, as distances are in millimetres.
INDEX_THOUSANDTHS = 1336
OLDER_RATE_YEARS = (0.25, 20.0)
# Until which age, dioptres a year (Weakley 2017; Lambert 2021).
PSEUDOPHAKIC_FALL = ((1.5, 0.35 * 12), (5.0, 0.97))
APHAKIC_FALL = ((1.5, 2.11), (5.0, 0.68), (10.5, 0.35))
TRIAL_SURGERY_MONTHS = (1, 7)


@dataclass(frozen=True, slots=True)
class EyeOptics:
    """A schematic eye. It is held fixed while the eye grows, which is a simplification.

    The cornea is the mean of operated infants at 1 to 5 years; the lens lies `lens_position_mm`
    behind it and glasses `vertex_mm` before it.
    """

    cornea_dioptres: float = 44.5
    lens_position_mm: float = 4.5
    vertex_mm: float = 12.0

    def __post_init__(self) -> None:
        for name, value, lowest, highest in (
            ("A cornea", self.cornea_dioptres, 35, 60),
            ("A lens position", self.lens_position_mm, 2, 7),
            ("A vertex distance", self.vertex_mm, 0, 20),
        ):
            if not lowest <= value <= highest:
                raise _refusal(f"{name} of {value:g} is outside {lowest} to {highest}.")

    @property
    def for_contact_lens(self) -> "EyeOptics":
        """The same eye with its correction on the cornea."""
        return replace(self, vertex_mm=0.0)


USUAL_EYE = EyeOptics()


def _refusal(what: str) -> MeasureError:
    return MeasureError(what, where="growth", do="Check the number; beyond it a clinician decides.")


def to_lens_plane(dioptres: float, optics: EyeOptics = USUAL_EYE) -> float:
    """What an implant would have to add to do the work of glasses of this power."""
    at_lens = _reduced_mm(optics.cornea_dioptres + _at_cornea(dioptres, optics), dioptres, optics)
    return INDEX_THOUSANDTHS / at_lens - _plano_dioptres(optics)


def to_spectacle_plane(lens_dioptres: float, optics: EyeOptics = USUAL_EYE) -> float:
    """The reverse of `to_lens_plane`."""
    vergence = _plano_dioptres(optics) + lens_dioptres
    if vergence <= 0:
        raise _refusal(f"{lens_dioptres:+.2f} D at the lens is no refraction an eye can have.")
    at_cornea = INDEX_THOUSANDTHS / (INDEX_THOUSANDTHS / vergence + optics.lens_position_mm)
    corneal = at_cornea - optics.cornea_dioptres
    return corneal / (1 + optics.vertex_mm * corneal / 1000)


def lens_dioptres_per_dioptre(dioptres: float, optics: EyeOptics = USUAL_EYE) -> float:
    """How far the lens plane moves for one dioptre of glasses near this power."""
    vergence = optics.cornea_dioptres + _at_cornea(dioptres, optics)
    at_lens = _reduced_mm(vergence, dioptres, optics)
    vertex = 1 - optics.vertex_mm * dioptres / 1000
    return (INDEX_THOUSANDTHS / vergence / at_lens / vertex) ** 2


def _at_cornea(dioptres: float, optics: EyeOptics) -> float:
    vertex = 1 - optics.vertex_mm * dioptres / 1000
    if vertex <= 0:
        raise _too_strong(dioptres)
    return dioptres / vertex


def _reduced_mm(vergence: float, dioptres: float, optics: EyeOptics) -> float:
    """From the lens to the focus that `vergence` at the cornea would have."""
    at_lens = INDEX_THOUSANDTHS / vergence - optics.lens_position_mm if vergence > 0 else 0.0
    if at_lens <= 0:
        raise _too_strong(dioptres)
    return at_lens


def _too_strong(dioptres: float) -> MeasureError:
    return _refusal(f"A power of {dioptres:+.2f} D is beyond what an eye can need.")


def _plano_dioptres(optics: EyeOptics) -> float:
    return INDEX_THOUSANDTHS / (
        INDEX_THOUSANDTHS / optics.cornea_dioptres - optics.lens_position_mm
    )


def log_age(age_years: float) -> float:
    """The age on which growth is a straight line; refused outside 1 month to 10.5 years."""
    if not YOUNGEST_YEARS <= age_years <= OLDEST_YEARS:
        raise _refusal(
            f"An age of {age_years:.2f} years is outside 1 month to {OLDEST_YEARS} years, "
            "for which the growth model was published."
        )
    return log10(age_years + AGE_OFFSET_YEARS)


def lens_plane_fall(rate_dioptres: float, from_years: float, to_years: float) -> float:
    """By how much the refraction at the lens plane falls between two ages."""
    return abs(rate_dioptres) * (log_age(to_years) - log_age(from_years))


def expected_dioptres(
    dioptres: float,
    rate_dioptres: float,
    from_years: float,
    to_years: float,
    optics: EyeOptics = USUAL_EYE,
) -> float:
    """The refraction at `to_years` of an eye that had `dioptres` at `from_years`.

    A fixed implant adds the same at both ages, so aphakic and pseudophakic eyes share the formula.
    """
    fall = lens_plane_fall(rate_dioptres, from_years, to_years)
    return to_spectacle_plane(to_lens_plane(dioptres, optics) - fall, optics)


def older_expected_dioptres(
    dioptres: float, rate_dioptres: float, from_years: float, to_years: float
) -> float:
    """The first published form: a line in glasses against log10(age), without an offset.

    Kept to read older papers; near birth it falls without limit, so it starts at 3 months.
    """
    lowest, highest = OLDER_RATE_YEARS
    for age in (from_years, to_years):
        if not lowest <= age <= highest:
            raise _refusal(f"An age of {age:.2f} years is outside {lowest:g} to {highest:g} years.")
    return dioptres - abs(rate_dioptres) * log10(to_years / from_years)


def pseudophakic_shift(surgery_months: float, to_years: float) -> float:
    """The mean myopic shift from 1 month after an implant before 7 months of age, to 5 years."""
    lowest, below = TRIAL_SURGERY_MONTHS
    if not lowest <= surgery_months < below:
        raise _refusal(
            f"Surgery at {surgery_months:g} months is outside {lowest} to below {below} months."
        )
    return pseudophakic_fall((surgery_months + 1) / 12, to_years)


def pseudophakic_fall(from_years: float, to_years: float) -> float:
    """The mean fall after an implant before 7 months of age, to 5 years."""
    return _fall(PSEUDOPHAKIC_FALL, from_years, to_years)


def aphakic_fall(from_years: float, to_years: float) -> float:
    """The mean fall of hyperopia after lens removal before 7 months of age, to 10.5 years."""
    return _fall(APHAKIC_FALL, from_years, to_years)


def _fall(rates: Sequence[tuple[float, float]], from_years: float, to_years: float) -> float:
    oldest = rates[-1][0]
    if not YOUNGEST_YEARS <= from_years <= to_years <= oldest:
        raise _refusal(
            f"From {from_years:.2f} to {to_years:.2f} years is not a span within "
            f"{YOUNGEST_YEARS:.2f} to {oldest:g} years."
        )
    fall, start = 0.0, 0.0
    for until, dioptres_a_year in rates:
        fall += dioptres_a_year * max(0.0, min(until, to_years) - max(start, from_years))
        start = until
    return fall
