"""Public holidays copied from the `holidays` library, whose lists are the named reference here."""

from datetime import date

import holidays
import pytest

from rehab.care.diary import Holiday
from rehab.errors import RecordError
from rehab.holiday_lists import holiday_list, place


def test_a_list_holds_what_the_library_lists_for_the_region() -> None:
    made = holiday_list("in", "Maharashtra", years=range(2026, 2029))
    theirs = holidays.country_holidays("IN", subdiv="MH", years=range(2026, 2029), language="en_US")
    assert {h.on for h in made.holidays} == set(theirs)
    assert [h.on for h in made.holidays] == sorted(theirs)
    assert {(h.country, h.region) for h in made.holidays} == {("IN", "MH")}
    assert Holiday("IN", "MH", date(2026, 5, 1), "Buddha Purnima; Maharashtra Day") in made.holidays


def test_a_day_that_is_an_estimate_is_said_to_be_one() -> None:
    made = {h.on: h for h in holiday_list("IN", "MH", years=range(2027, 2028)).holidays}
    assert made[date(2027, 3, 10)] == Holiday(
        "IN", "MH", date(2027, 3, 10), "Eid al-Fitr", estimated=True
    )
    assert not made[date(2027, 1, 26)].estimated
    # On Independence Day, which is no estimate, falls a day that is one.
    assert not made[date(2027, 8, 15)].estimated


def test_an_estimate_is_known_in_another_language() -> None:
    made = holiday_list("KZ", years=range(2027, 2028), language="kk")
    assert [(h.on, h.name) for h in made.holidays if h.estimated] == [
        (date(2027, 5, 16), "Құрбан айт")
    ]


@pytest.mark.parametrize(
    ("country", "region", "says"),
    [
        ("Kazakstan", "", "Did you mean KZ (kazakhstan)"),
        ("XX", "", "no list of public holidays is known for the country 'XX'"),
        ("date", "", "250 are known"),
        ("", "", "Give its two letters"),
        ("IN", "Maharastra", "Did you mean MH (maharashtra)? Known regions: AN, AP"),
        ("SG", "north", "the same everywhere: leave the region out"),
    ],
)
def test_a_place_without_a_list_is_refused_with_what_is_known(
    country: str, region: str, says: str
) -> None:
    with pytest.raises(RecordError) as refused:
        place(country, region)
    assert says in str(refused.value)


def test_places_are_understood_by_code_and_by_name() -> None:
    assert place("india", "kerala") == ("IN", "KL")
    assert place("KE") == ("KE", "")
    assert place("Sri Lanka") == ("LK", "")


@pytest.mark.parametrize("years", [range(2026, 2090), range(2028, 2026)])
def test_no_years_and_too_many_are_refused(years: range) -> None:
    with pytest.raises(RecordError, match="are not 1 to 30 years"):
        holiday_list("KE", years=years)


def test_a_list_that_the_library_calls_incomplete_is_refused() -> None:
    with pytest.raises(RecordError, match=r"IN: the list for 2099 is not whole: it reaches from"):
        holiday_list("IN", years=range(2099, 2100))


def test_a_list_that_runs_out_is_refused_from_there_on() -> None:
    """Days that follow the moon are listed some years ahead, and then no more."""
    ends = next(y for y in range(2026, 2101) if not holidays.country_holidays("LK", years=y))
    assert holiday_list("LK", years=range(ends - 1, ends)).holidays
    with pytest.raises(RecordError, match=f"LK: no list is known for {ends}"):
        holiday_list("LK", years=range(ends - 1, ends + 1))


def test_holidays_that_a_later_year_has_lost_are_told() -> None:
    many = {y: len(holidays.country_holidays("NP", years=y)) for y in range(2025, 2100)}
    thin = next(y for y in range(2026, 2100) if many[y] * 2 < many[y - 1])
    made = holiday_list("NP", years=range(thin - 1, thin + 1))
    assert "Ram Navami" in made.missing[thin]
    assert thin - 1 not in made.missing
    assert holiday_list("KE", years=range(2027, 2029)).missing == {}


def test_a_language_without_names_is_refused() -> None:
    with pytest.raises(RecordError, match=r"not named in the language 'fr'. Known: en_US, kk, uk"):
        holiday_list("KZ", years=range(2026, 2027), language="fr")
