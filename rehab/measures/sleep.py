"""Waking hours by age, for a dose of occlusion that is a share of them.

Sleep in hours = 10.49 - 5.56 x (sqrt(age in years / 10) - 0.71), from birth to 12 years:
Galland BC et al., Sleep Medicine Reviews 2012;16:213-222. A family's own report is better.
"""

from math import sqrt

from rehab.errors import MeasureError

OLDEST_YEARS = 12
QUARTER_HOUR = 15


def sleep_hours(age_years: float) -> float:
    """Mean hours of sleep in 24; raises MeasureError outside 0 to 12 years."""
    if not 0 <= age_years <= OLDEST_YEARS:
        raise MeasureError(
            f"sleep is known from birth to {OLDEST_YEARS} years, not at {age_years:g}.",
            do="Ask the family how long the child sleeps.",
        )
    return 10.49 - 5.56 * (sqrt(age_years / 10) - 0.71)


def share_of_waking_minutes(age_months: int, percent: int) -> int:
    """`percent` of the waking day, to the nearest quarter of an hour."""
    minutes = (24 - sleep_hours(age_months / 12)) * 60 * percent / 100
    return round(minutes / QUARTER_HOUR) * QUARTER_HOUR
