"""How long the eyes of children without cataract usually are: a background, never a target."""

from dataclasses import dataclass
from math import exp

DAYS_PER_WEEK, DAYS_PER_YEAR = 7, 365.25
INFANT_WEEKS = (4, 53)
# The youngest and oldest of the cohort; its ages are from memory.
CHILD_YEARS = (0.25, 6.5)


@dataclass(frozen=True, slots=True)
class UsualLength:
    """The mean axial length of one published group at one age; `whose` says of which children."""

    whose: str
    millimetres: float
    source: str


_PENNIE = "Pennie 2001, Vision Res 41:2799: 17.190 + 0.128 x weeks - 0.0013 x weeks squared"
_MUTTI = (
    "Mutti 2018, Optom Vis Sci 95:976: "
    "20.3 (girls 0.346 less) - 1.09 exp(-4.18 T) + 0.567 T - 0.0317 T squared, T = years - 0.25"
)


def usual_axial_lengths(age_days: int) -> tuple[UsualLength, ...]:
    """What each published curve says at this age; nothing outside its ages."""
    weeks, years = age_days / DAYS_PER_WEEK, age_days / DAYS_PER_YEAR
    told = []
    if INFANT_WEEKS[0] <= weeks <= INFANT_WEEKS[1]:
        told.append(UsualLength("infants", 17.190 + 0.128 * weeks - 0.0013 * weeks**2, _PENNIE))
    if CHILD_YEARS[0] <= years <= CHILD_YEARS[1]:
        boys = _of_boys(years)
        told.append(UsualLength("boys", boys, _MUTTI))
        told.append(UsualLength("girls", boys - 0.346, _MUTTI))
    return tuple(told)


def _of_boys(years: float) -> float:
    since = years - CHILD_YEARS[0]
    return 20.3 - 1.09 * exp(-4.18 * since) + 0.567 * since - 0.0317 * since**2
