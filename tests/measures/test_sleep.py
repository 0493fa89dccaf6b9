import pytest

from rehab.errors import MeasureError
from rehab.measures.sleep import share_of_waking_minutes, sleep_hours

# Galland BC et al, Sleep Med Rev 2012;16:213-222 (formula seen); the table is derived from it.
GALLAND = [
    (1, 13.9),
    (3, 13.6),
    (6, 13.2),
    (8, 13.0),
    (12, 12.7),
    (24, 12.0),
    (36, 11.4),
    (60, 10.5),
    (120, 8.9),
]


@pytest.mark.parametrize(("months", "hours"), GALLAND)
def test_sleep_by_age_is_the_published_curve(months: int, hours: float) -> None:
    assert round(sleep_hours(months / 12), 1) == hours


@pytest.mark.parametrize(
    ("months", "hours"), [(8, 5.5), (11, 5.5), (12, 5.75), (18, 5.75), (24, 6), (48, 6.5)]
)
def test_half_of_the_waking_day_is_told_to_the_quarter_hour(months: int, hours: float) -> None:
    """Half of 24 hours less the published sleep; the rounding is ours."""
    assert share_of_waking_minutes(months, 50) == hours * 60
    assert abs(share_of_waking_minutes(months, 50) - (24 - sleep_hours(months / 12)) * 30) <= 7.5


@pytest.mark.parametrize("years", [-0.1, 12.1])
def test_sleep_outside_the_published_ages_is_refused(years: float) -> None:
    with pytest.raises(MeasureError, match=r"known from birth to 12 years.*Ask the family"):
        sleep_hours(years)
