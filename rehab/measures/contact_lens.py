"""Contact lenses for an eye without its lens: from glasses and back, and powers to expect.

An expected power chooses a trial lens; the refraction over it decides.
"""

from collections.abc import Callable
from dataclasses import dataclass

from rehab.errors import MeasureError
from rehab.measures.eye_size import write_axial_length
from rehab.measures.refraction import (
    NO_VERTEX_EFFECT_BELOW_QUARTERS,
    Refraction,
    to_corneal_plane,
    to_spectacle_plane,
)

_ROUNDED = "Each principal meridian is rounded to the nearest 0.25 D."
_LEFT_ALONE = "A meridian weaker than 4.00 D is left as it is, by rule."
LENS_PLACE_SOURCE = (
    "F / (1 - d x F), d in metres: vergence, with published worked examples "
    "(+13.00 at 12 mm is +15.50); meridians one by one and rounding: common practice, no source"
)


@dataclass(frozen=True, slots=True)
class Moved:
    """A lens moved to another plane, with its meridians before rounding: sphere, then the other."""

    lens: Refraction
    exact_dioptres: tuple[float, float]
    notes: tuple[str, ...]


def contact_lens_for(glasses: Refraction, vertex_mm: int) -> Moved:
    """The contact lens that does the work of `glasses` worn `vertex_mm` before the cornea."""
    return _moved(glasses, -vertex_mm, to_corneal_plane)


def glasses_for(contact_lens: Refraction, vertex_mm: int) -> Moved:
    """The glasses that do the work of `contact_lens`, worn `vertex_mm` before the cornea."""
    return _moved(contact_lens, vertex_mm, to_spectacle_plane)


def _moved(
    before: Refraction, signed_mm: int, move: Callable[[Refraction, int], Refraction]
) -> Moved:
    lens = move(before, abs(signed_mm))
    meridians = (before.sphere_quarters, before.sphere_quarters + before.cylinder_quarters)
    first, second = (quarters / 4 / (1 + signed_mm * quarters / 4000) for quarters in meridians)
    left_alone = any(abs(quarters) < NO_VERTEX_EFFECT_BELOW_QUARTERS for quarters in meridians)
    notes = (*before.notes, _ROUNDED, *((_LEFT_ALONE,) if left_alone else ()))
    return Moved(lens, (first, second), notes)


@dataclass(frozen=True, slots=True)
class Expected:
    """A power at the cornea in dioptres, with the formula, where it comes from, and cautions."""

    dioptres: float
    formula: str
    source: str
    cautions: tuple[str, ...]


# Published powers were 29.6 (SD 4.4) D; two SD about it are the lengths 14.4 to 19.8 mm.
LENGTH_SPAN_HUNDREDTHS = (1440, 1980)
# Published powers were 25.46 (SD 4.83) D; within two SD of it the line runs from birth to 25
# months. The middle half of the children were 5.25 to 13 months old.
AGE_SPAN_MONTHS = (1, 24)
USUAL_AGE_MONTHS = (5, 13)
_TRIAL = "It chooses a trial lens; the refraction over it decides."


def expected_by_axial_length(axial_length_hundredths_mm: int) -> Expected:
    """The power that neutralises an infant's eye; raises MeasureError outside 14.4 to 19.8 mm."""
    shortest, longest = LENGTH_SPAN_HUNDREDTHS
    if not shortest <= axial_length_hundredths_mm <= longest:
        raise MeasureError(
            f"An axial length of {write_axial_length(axial_length_hundredths_mm)} is outside "
            f"{shortest / 100:g} to {longest / 100:g} mm, the span of the published powers.",
            where="contact lens",
            do="Measure the refraction instead.",
        )
    return Expected(
        (8440 - 32 * axial_length_hundredths_mm / 10) / 100,
        "P = 84.4 - 3.2 x axial length in mm",
        "Guidelines for selecting contact lens power in aphakic infants, editors' choice, "
        "American Academy of Ophthalmology: 50 eyes, surgery before 1 year, R squared 0.82",
        ("For surgery in the first year, within a month of it.", _TRIAL),
    )


def expected_by_age(age_months: int) -> Expected:
    """A rigid lens after surgery of one eye; raises MeasureError outside 1 to 23 months."""
    youngest, below = AGE_SPAN_MONTHS
    if not youngest <= age_months < below:
        raise MeasureError(
            f"An age of {age_months} months is outside {youngest} to {below - 1} months, "
            "the span of the published powers.",
            where="contact lens",
            do="Measure the refraction, or the axial length in an infant.",
        )
    first, last = USUAL_AGE_MONTHS
    rare = () if first <= age_months <= last else (
        f"Half of the children were {first} to {last} months old; this age is outside.",
    )  # fmt: skip
    return Expected(
        (3166 - 62 * age_months) / 100,
        "P = 31.66 - 0.62 x age in months",
        "Rigid gas-permeable contact lenses fitting philosophy for unilateral aphakic infants, "
        "Eye and Contact Lens, abstract: 52 eyes, median age 9 months",
        ("For a rigid lens, one eye operated.", *rare, _TRIAL),
    )


@dataclass(frozen=True, slots=True)
class TypicalPower:
    """The powers usually worn by aphakic eyes from `from_months` to before `below_months`."""

    from_months: int
    below_months: int
    lowest_dioptres: int
    highest_dioptres: int


TYPICAL_SOURCE = "Sclafani 2002, as reprinted in Review of Contact Lenses"
TYPICAL_POWERS = (
    TypicalPower(0, 12, 29, 32),
    TypicalPower(12, 24, 20, 26),
    TypicalPower(24, 216, 12, 20),
)


def typical_power(age_months: int) -> TypicalPower:
    """Raises MeasureError outside childhood."""
    for power in TYPICAL_POWERS:
        if power.from_months <= age_months < power.below_months:
            return power
    raise MeasureError(
        f"An age of {age_months} months is outside 0 to below {TYPICAL_POWERS[-1].below_months}.",
        where="contact lens",
        do="Measure the refraction.",
    )
