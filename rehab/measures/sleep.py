"""Waking hours by age, for a dose of occlusion that is a share of them.

Sleep in hours = 10.49 - 5.56 x (sqrt(age in years / 10) - 0.71), from birth to 12 years:
Galland BC et al., Sleep Medicine Reviews 2012;16:213-222. A family's own report is better, and
takes its place.
"""

from math import floor, sqrt

from rehab.errors import MeasureError

OLDEST_YEARS = 12
QUARTER_HOUR = 15
# Wider than any published range of sleep in 24 hours (Galland 2012: 7.6 to 15.9 from 0 to 12
# years), so that only a slip of the pen is refused; chosen here.
FEWEST_HOURS, MOST_HOURS = 4, 20


def sleep_hours(age_years: float) -> float:
    """Mean hours of sleep in 24; raises MeasureError outside 0 to 12 years."""
    if not 0 <= age_years <= OLDEST_YEARS:
        raise MeasureError(
            f"sleep is known from birth to {OLDEST_YEARS} years, not at {age_years:g}.",
            do="Ask the family how long the child sleeps.",
        )
    return 10.49 - 5.56 * (sqrt(age_years / 10) - 0.71)


def waking_hours(age_months: int, sleep_hours_reported: float | None = None) -> float:
    """Hours awake in 24: by the family's report of naps and night together, else by age."""
    if sleep_hours_reported is None:
        return 24 - sleep_hours(age_months / 12)
    if not FEWEST_HOURS <= sleep_hours_reported <= MOST_HOURS:
        raise MeasureError(
            f"{sleep_hours_reported:g} hours of sleep in 24 cannot be.",
            do=f"Ask again for night and naps together: {FEWEST_HOURS} to {MOST_HOURS} hours.",
        )
    return 24 - sleep_hours_reported


def share_of_waking_minutes(
    age_months: int, percent: int, sleep_hours_reported: float | None = None
) -> int:
    """`percent` of the waking day to the nearest quarter of an hour, but never more than it."""
    awake = waking_hours(age_months, sleep_hours_reported) * 60
    nearest = round(awake * percent / 100 / QUARTER_HOUR) * QUARTER_HOUR
    return min(nearest, floor(awake / QUARTER_HOUR) * QUARTER_HOUR)
