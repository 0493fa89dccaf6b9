"""What children of an age usually see, as published, each row with its source and standing.

These are children of the population: after cataract surgery they are a background to a chart,
never a target.
"""

from dataclasses import dataclass
from enum import StrEnum


class Standing(StrEnum):
    """Whether the figure was read in its source, or is remembered and still to be checked."""

    VERIFIED = "verified"
    MEMORY = "memory"


@dataclass(frozen=True, slots=True)
class LetterNorm:
    """Mean and spread for one test at ages from `from_months` to before `below_months`."""

    test: str
    from_months: int
    below_months: int
    mean_hundredths: int
    deviation_hundredths: int
    source: str
    standing: Standing


@dataclass(frozen=True, slots=True)
class GratingNorm:
    """Mean of one eye at one tested age; half months are kept as tenths of a month."""

    age_tenths_of_month: int
    mean_cycles_per_degree: float
    source: str
    standing: Standing


@dataclass(frozen=True, slots=True)
class ReferralLine:
    """A screened eye poorer than this, in hundredths of a logMAR, is referred."""

    from_months: int
    below_months: int
    poorest_pass_hundredths: int
    source: str
    standing: Standing


_MULTI_ETHNIC = "Multi-Ethnic Pediatric Eye Disease Study, ARVO abstract 2387499"
_MAYER = "Mayer 1995, Invest Ophthalmol Vis Sci 36:671"
_VISION_SCREENING = "National Center for Children's Vision and Eye Health, Optom Vis Sci 2015;92:6"

LETTER_NORMS = tuple(
    LetterNorm(
        "single crowded letters", start, end, mean, deviation, _MULTI_ETHNIC, Standing.VERIFIED
    )
    for start, end, mean, deviation in (
        (30, 37, 25, 15),
        (37, 49, 17, 14),
        (49, 61, 8, 10),
        (61, 73, 2, 9),
    )
)
GRATING_NORMS = tuple(
    GratingNorm(age, mean, _MAYER, Standing.MEMORY)
    for age, mean in (
        (10, 0.94),
        (25, 2.16),
        (40, 2.68),
        (60, 5.65),
        (90, 6.79),
        (120, 6.42),
        (180, 8.59),
        (240, 9.57),
        (300, 11.52),
        (360, 21.81),
        (480, 24.81),
    )
)
REFERRAL_LINES = tuple(
    ReferralLine(*row, _VISION_SCREENING, Standing.VERIFIED) for row in ((36, 48, 40), (48, 72, 30))
)


def letter_norm(test: str, age_months: int) -> LetterNorm | None:
    """The norm of `test` at that age; None where none is cited here."""
    rows = (n for n in LETTER_NORMS if n.test == test)
    return next((n for n in rows if n.from_months <= age_months < n.below_months), None)


def grating_norm(age_months: int) -> GratingNorm | None:
    """The norm of the nearest tested age, the younger of two; None outside the tested ages."""
    age = age_months * 10
    if not GRATING_NORMS[0].age_tenths_of_month <= age <= GRATING_NORMS[-1].age_tenths_of_month:
        return None
    return min(GRATING_NORMS, key=lambda n: abs(n.age_tenths_of_month - age))


def referral_line(age_months: int) -> ReferralLine | None:
    """The screening line at that age; None where none is cited here."""
    return next((r for r in REFERRAL_LINES if r.from_months <= age_months < r.below_months), None)


# Birch 2009, J AAPOS 13:67: 37 infants with dense cataracts of both eyes, acuity at 5 years or
# later. One line lost for 3 weeks of waiting to week 14, then 0.6 logMAR to week 31. That the two
# lines meet at week 14 is derived.
TURN_WEEKS, LAST_WEEKS, MEAN_AFTER_TURN_HUNDREDTHS = 14, 31, 60


def mean_after_bilateral_surgery_hundredths(age_at_surgery_weeks: int) -> int | None:
    """The group's mean, in hundredths of a logMAR; a background for teaching, no child's outlook.

    None after the oldest age of the group.
    """
    if not 0 <= age_at_surgery_weeks <= LAST_WEEKS:
        return None
    weeks_early = max(0, TURN_WEEKS - age_at_surgery_weeks)
    return round(MEAN_AFTER_TURN_HUNDREDTHS - weeks_early * 10 / 3)
