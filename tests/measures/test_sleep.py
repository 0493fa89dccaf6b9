import pytest

from rehab.errors import MeasureError
from rehab.measures.sleep import share_of_waking_minutes, sleep_hours, waking_hours

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


@pytest.mark.parametrize(("sleep", "half"), [(13, 5.5), (12, 6), (15, 4.5)])
def test_the_family_s_report_takes_the_place_of_the_curve(sleep: float, half: float) -> None:
    """Half of 24 hours less what the family reports; at 13.0 hours, 5.5 (derived from IATS)."""
    assert share_of_waking_minutes(11, 50, sleep) == half * 60
    assert waking_hours(200, sleep) == 24 - sleep


@pytest.mark.parametrize(("sleep", "band"), [(12, 12), (15, 9)])
def test_an_infant_s_recommended_sleep_leaves_nine_to_twelve_hours(
    sleep: float, band: float
) -> None:
    """National Sleep Foundation, Sleep Health 2015;1:40-43 (seen): 12 to 15 hours at 7 months."""
    assert waking_hours(7, sleep) == band


@pytest.mark.parametrize("percent", range(101))
def test_no_share_is_more_than_the_waking_day(percent: int) -> None:
    for months in range(145):
        assert share_of_waking_minutes(months, percent) <= waking_hours(months) * 60


@pytest.mark.parametrize("sleep", [-1, 3.9, 20.5, 24])
def test_a_report_of_sleep_that_cannot_be_is_asked_again(sleep: float) -> None:
    with pytest.raises(MeasureError, match=r"hours of sleep in 24 cannot be\. Ask again"):
        waking_hours(8, sleep)
