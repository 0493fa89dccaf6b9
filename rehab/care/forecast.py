"""The refraction to expect of one operated eye, with a band, and the day it should be measured.

At the plane of the lens the refraction falls along a straight line against log10(age + 0.6 years).
The published mean and spread of the rate are what is believed of an eye before it is measured;
each refraction, weighted by its noise, updates level and rate together (conjugate normal, with
nothing assumed of the level). One noisy refraction therefore sets the level and leaves the rate.
A fixed implant adds the same at every age, so the formulas do not ask whether there is one.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from math import log10, sqrt
from statistics import NormalDist

from rehab.care.case import Correction
from rehab.errors import MeasureError
from rehab.measures.dates import add_months
from rehab.measures.growth import (
    AGE_OFFSET_YEARS,
    USUAL_EYE,
    EyeOptics,
    lens_dioptres_per_dioptre,
    to_lens_plane,
    to_spectacle_plane,
)

YOUNGEST_MONTHS, OLDEST_MONTHS = 1, 126
LARGEST_DIOPTRES = 40.0
DAYS_PER_YEAR = 365.25
USUAL_BAND = 0.80


@dataclass(frozen=True, slots=True)
class Observation:
    """A refraction since the last change of the eye's lens status, as in glasses.

    `noise_dioptres` is the standard deviation of one measurement at that age.
    """

    on: date
    spherical_equivalent_dioptres: float
    noise_dioptres: float

    def __post_init__(self) -> None:
        _check_power(self.spherical_equivalent_dioptres)
        if not 0 < self.noise_dioptres <= 5:
            raise _refusal(f"A noise of {self.noise_dioptres:g} D is not above 0 to 5 D.")


@dataclass(frozen=True, slots=True)
class GrowthPrior:
    """The published mean and standard deviation of the rate, and where they come from."""

    rate_dioptres: float
    deviation_dioptres: float
    source: str


@dataclass(frozen=True, slots=True)
class Worn:
    """The correction in use, its power where it sits, without any near addition that was meant."""

    correction: Correction
    dioptres: float

    def __post_init__(self) -> None:
        _check_power(self.dioptres)
        if self.correction is Correction.UNKNOWN:
            raise _refusal("What the eye wears is unknown.", "Record what it wears.")
        if self.correction is Correction.NONE and self.dioptres:
            raise _refusal(f"No correction cannot have {self.dioptres:+.2f} D.")


@dataclass(frozen=True, slots=True)
class Tolerance:
    """By how much a correction may be off, and the chance of more at which the eye is measured."""

    threshold_dioptres: float
    chance: float

    def __post_init__(self) -> None:
        if not 0 < self.threshold_dioptres <= 10 or not 0 < self.chance < 1:
            raise _refusal(
                f"A threshold of {self.threshold_dioptres:g} D at a chance of {self.chance:g} "
                "is not above 0 to 10 D at a chance between 0 and 1."
            )


@dataclass(frozen=True, slots=True)
class FasterShift:
    """A refraction more myopic than earlier ones allowed: a sign of glaucoma until shown not."""

    seen: Observation
    expected_dioptres: float
    lowest_dioptres: float

    @property
    def sentence(self) -> str:
        return (
            f"Refraction of {self.seen.spherical_equivalent_dioptres:+.2f} D on {self.seen.on}, "
            f"where {self.expected_dioptres:+.2f} D was expected and no less than "
            f"{self.lowest_dioptres:+.2f} D: the eye grows faster than its earlier refractions "
            "say, check its pressure and disc."
        )


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is believed of one eye: level at `centre` and rate are independent and normal.

    Level and rate are at the lens plane, `centre` is a log age. Every answer holds from 1 month to
    10.5 years of age and is refused outside.
    """

    born: date
    centre: float
    level_dioptres: float
    level_deviation: float
    rate_dioptres: float
    rate_deviation: float
    optics: EyeOptics

    def at_lens_plane(self, on: date) -> NormalDist:
        _check_age(self.born, on)
        along = _log_age(self.born, on) - self.centre
        return NormalDist(
            self.level_dioptres - self.rate_dioptres * along,
            sqrt(self.level_deviation**2 + (self.rate_deviation * along) ** 2),
        )

    def mean_dioptres(self, on: date) -> float:
        """The expected refraction in glasses: as likely too high as too low."""
        return self.in_glasses(self.at_lens_plane(on).mean, on)

    def band_dioptres(self, on: date, level: float = USUAL_BAND) -> tuple[float, float]:
        """Between which refractions, in glasses, the eye lies with a chance of `level`."""
        expected = self.at_lens_plane(on)
        low, high = (expected.inv_cdf((1 + side * level) / 2) for side in (-1, 1))
        return self.in_glasses(low, on), self.in_glasses(high, on)

    def chance_off_by_more_than(self, on: date, worn: Worn, threshold_dioptres: float) -> float:
        """The chance that the eye needs more than `threshold_dioptres` more or less than it wears.

        Compared where the correction sits: on the cornea for a contact lens.
        """
        low, high = _limits(worn, threshold_dioptres, self.optics)
        expected = self.at_lens_plane(on)
        return expected.cdf(low) + 1 - expected.cdf(high)

    def in_glasses(self, lens_dioptres: float, on: date) -> float:
        lowest, highest = (to_lens_plane(side * LARGEST_DIOPTRES, self.optics) for side in (-1, 1))
        if not lowest <= lens_dioptres <= highest:
            raise _refusal(
                f"By {on} the forecast leaves -40.00 to +40.00 D.",
                "Check the refractions recorded; a clinician decides.",
            )
        return to_spectacle_plane(lens_dioptres, self.optics)


def forecast(
    born: date,
    observations: Iterable[Observation],
    prior: GrowthPrior,
    optics: EyeOptics = USUAL_EYE,
) -> Forecast:
    """What `observations`, in any order, make of the prior; refused when there is none."""
    points = sorted(
        (_log_age(born, seen.on), *_at_lens(seen, optics)) for seen in _valid(born, observations)
    )
    if not points:
        raise _refusal(
            "There is no refraction of this eye since its lens was last changed.",
            "Refract it; the fixed dates of the refraction table hold until then.",
        )
    total = sum(weight for _, _, weight in points)
    centre = sum(weight * age for age, _, weight in points) / total
    level = sum(weight * power for _, power, weight in points) / total
    spread = sum(weight * (age - centre) ** 2 for age, _, weight in points)
    slope = sum(weight * (age - centre) * (power - level) for age, power, weight in points)
    believed = prior.deviation_dioptres**-2
    precision = believed + spread
    return Forecast(
        born,
        centre,
        level,
        total**-0.5,
        (believed * prior.rate_dioptres - slope) / precision,
        precision**-0.5,
        optics,
    )


def next_refraction(
    expected: Forecast, worn: Worn, tolerance: Tolerance, earliest: date, latest: date
) -> date:
    """The first day, from `earliest`, on which what is worn is likely enough to be wrong.

    `latest` when no day before it is, or when the model ends before it.
    """
    if earliest > latest:
        raise _refusal(f"The earliest day {earliest} is after the latest {latest}.")
    _check_age(expected.born, earliest)
    low, high = _limits(worn, tolerance.threshold_dioptres, expected.optics)
    last = min(latest, add_months(expected.born, OLDEST_MONTHS))
    for ahead in range((last - earliest).days + 1):
        on = earliest + timedelta(days=ahead)
        believed = expected.at_lens_plane(on)
        if believed.cdf(low) + 1 - believed.cdf(high) >= tolerance.chance:
            return on
    return latest


def faster_than_expected(before: Forecast, seen: Observation, level: float) -> FasterShift | None:
    """A shift below the band of `level` that earlier refractions gave, which `before` is made of.

    The band allows for the noise of `seen` too.
    """
    expected, mean = before.at_lens_plane(seen.on), before.mean_dioptres(seen.on)
    noise = seen.noise_dioptres * lens_dioptres_per_dioptre(mean, before.optics)
    measured = NormalDist(expected.mean, sqrt(expected.variance + noise**2))
    lowest = before.in_glasses(measured.inv_cdf((1 - level) / 2), seen.on)
    faster = seen.spherical_equivalent_dioptres < lowest
    return FasterShift(seen, mean, lowest) if faster else None


def _valid(born: date, observations: Iterable[Observation]) -> Iterable[Observation]:
    for seen in observations:
        _check_age(born, seen.on)
        yield seen


def _at_lens(seen: Observation, optics: EyeOptics) -> tuple[float, float]:
    """The refraction at the lens plane, and its weight: one over the square of its noise there."""
    power = seen.spherical_equivalent_dioptres
    noise = seen.noise_dioptres * lens_dioptres_per_dioptre(power, optics)
    return to_lens_plane(power, optics), noise**-2


def _limits(worn: Worn, threshold_dioptres: float, optics: EyeOptics) -> tuple[float, float]:
    """The refractions at the lens plane between which `worn` is good enough."""
    place = optics.for_contact_lens if worn.correction is Correction.CONTACT_LENS else optics
    return (
        to_lens_plane(worn.dioptres - threshold_dioptres, place),
        to_lens_plane(worn.dioptres + threshold_dioptres, place),
    )


def _log_age(born: date, on: date) -> float:
    return log10((on - born).days / DAYS_PER_YEAR + AGE_OFFSET_YEARS)


def _check_age(born: date, on: date) -> None:
    if not holds_on(born, on):
        raise _refusal(
            f"On {on} a child born {born} is outside 1 month to 10.5 years of age, "
            "for which the growth model was published.",
            "The fixed dates of the refraction table hold there.",
        )


def holds_on(born: date, on: date) -> bool:
    """Whether the child is 1 month to 10.5 years old, counted from birth also if born preterm."""
    return add_months(born, YOUNGEST_MONTHS) <= on <= add_months(born, OLDEST_MONTHS)


def _check_power(dioptres: float) -> None:
    if not -LARGEST_DIOPTRES <= dioptres <= LARGEST_DIOPTRES:
        raise _refusal(f"A power of {dioptres:+.2f} D is outside -40.00 to +40.00 D.")


def _refusal(what: str, do: str = "Check the number and give it again.") -> MeasureError:
    return MeasureError(what, where="refraction forecast", do=do)
