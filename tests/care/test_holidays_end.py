"""A list of holidays that runs out is told. Half of the fullest year is an assumption of ours."""

from datetime import date, timedelta

from rehab.care.diary import Diary, Holiday, Site
from rehab.care.holidays_end import holidays_end

TODAY, BY = date(2026, 11, 25), date(2028, 5, 25)
NORTH = Site("north", "North Clinic", country="IN", region="MH")
FIELD = Site("field", "Field Clinic")


def listed(year: int, many: int = 4, region: str = "MH") -> tuple[Holiday, ...]:
    days = (date(year, 1, 1) + timedelta(days=30 * n) for n in range(many))
    return tuple(Holiday("IN", region, on, "a feast") for on in days)


def test_a_site_whose_list_ends_before_the_horizon_is_told() -> None:
    (end,) = holidays_end(Diary((FIELD, NORTH), holidays=listed(2026)), TODAY, BY)
    assert (end.site, end.start) == ("north", date(2027, 1, 1))
    assert "of IN-MH is recorded for 2027-2028, and plans look ahead to 2028-05-25" in end.sentence
    assert end.sentence.endswith("copy --country IN --region MH --years 2027-2028")


def test_lists_of_the_country_count_and_those_of_other_regions_do_not() -> None:
    whole = (*listed(2026, region=""), *listed(2027), *listed(2028, region=""))
    assert holidays_end(Diary((NORTH,), holidays=whole), TODAY, BY) == ()
    other = (*listed(2026), *listed(2027, region="KL"), *listed(2028))
    (end,) = holidays_end(Diary((NORTH,), holidays=other), TODAY, BY)
    assert "recorded for 2027," in end.sentence


def test_a_few_entries_are_no_list() -> None:
    diary = Diary((NORTH,), holidays=(*listed(2026), *listed(2027, many=1), *listed(2028)))
    assert [end.start for end in holidays_end(diary, TODAY, BY)] == [date(2027, 1, 1)]


def test_a_horizon_on_new_years_day_needs_no_list_of_the_year_that_begins() -> None:
    diary = Diary((NORTH,), holidays=listed(2026))
    assert holidays_end(diary, TODAY, date(2027, 1, 1)) == ()


def test_years_that_are_not_next_to_each_other_are_named() -> None:
    diary = Diary((NORTH,), holidays=listed(2027))
    (end,) = holidays_end(diary, TODAY, BY)
    assert "recorded for 2026, 2028," in end.sentence
