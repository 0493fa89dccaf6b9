"""The days of sessions: rules that come again, clocks that change, and what shuts a booked day."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from time import perf_counter
from zoneinfo import ZoneInfo

import pytest
from dateutil.rrule import rrulestr
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.care.case import Appointment
from rehab.care.diary import Closure, Diary, Holiday, SessionPattern, Site
from rehab.errors import RecordError
from rehab.session_dates import (
    CODES,
    check_rule,
    days_of,
    first_day,
    moment,
    session_of,
    sessions,
    span_of,
    weekday_rule,
    why_shut,
)

NORTH = Site("north", "North Clinic", time_zone="Europe/Paris", country="FR")
SOUTH = Site("south", "South Clinic", time_zone="Europe/Paris", country="FR", region="57")
MONDAYS = SessionPattern(
    "mondays", "north", date(2026, 12, 7), 540, 780, 240, "FREQ=WEEKLY;BYDAY=MO"
)
EXTRA = SessionPattern("extra", "south", date(2026, 12, 19), 600, 660, 60)
DIARY = Diary((NORTH, SOUTH), (EXTRA, MONDAYS))
AHEAD = Appointment("K-1/A1", date(2026, 12, 14), session="mondays/2026-12-14", starts_minute=560)


def days(text: str) -> list[date]:
    """Days such as 1997-09-02 03 10-07: what is left out is as in the day before."""
    found: list[date] = []
    for word in text.split():
        known = found[-1].isoformat() if found else ""
        found.append(date.fromisoformat(known[: 10 - len(word)] + word))
    return found


def pattern(rule: str, first: date, last: date | None = None) -> SessionPattern:
    return replace(MONDAYS, rule=rule, first=first, last=last)


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        ("FREQ=DAILY;COUNT=10", "1997-09-02 03 04 05 06 07 08 09 10 11"),
        ("FREQ=WEEKLY;COUNT=10", "1997-09-02 09 16 23 30 10-07 14 21 28 11-04"),
        (
            "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224;WKST=SU;BYDAY=MO,WE,FR",
            "1997-09-01 03 05 15 17 19 29 10-01 03 13 15 17 27 29 31 11-10 12 14 24 26 28 12-08 "
            "10 12 22 24",
        ),
        (
            "FREQ=MONTHLY;COUNT=10;BYDAY=1FR",
            "1997-09-05 10-03 11-07 12-05 1998-01-02 02-06 03-06 04-03 05-01 06-05",
        ),
        (
            "FREQ=MONTHLY;INTERVAL=2;COUNT=10;BYDAY=1SU,-1SU",
            "1997-09-07 28 11-02 30 1998-01-04 25 03-01 29 05-03 31",
        ),
        ("FREQ=MONTHLY;COUNT=6;BYDAY=-2MO", "1997-09-22 10-20 11-17 12-22 1998-01-19 02-16"),
        (
            "FREQ=MONTHLY;INTERVAL=18;COUNT=10;BYMONTHDAY=10,11,12,13,14,15",
            "1997-09-10 11 12 13 14 15 1999-03-10 11 12 13",
        ),
        (
            "FREQ=YEARLY;INTERVAL=3;COUNT=10;BYYEARDAY=1,100,200",
            "1997-01-01 04-10 07-19 2000-01-01 04-09 07-18 2003-01-01 04-10 07-19 2006-01-01",
        ),
        ("FREQ=YEARLY;BYDAY=20MO;COUNT=3", "1997-05-19 1998-05-18 1999-05-17"),
        ("FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO;COUNT=3", "1997-05-12 1998-05-11 1999-05-17"),
        (
            "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8;COUNT=3",
            "1996-11-05 2000-11-07 2004-11-02",
        ),
        ("FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3", "1997-09-04 10-07 11-06"),
        ("FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO", "1997-08-05 10 19 24"),
        ("FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU", "1997-08-05 17 19 31"),
        ("FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5", "2007-01-15 30 02-15 03-15 30"),
    ],
)
def test_rules_give_the_days_of_the_standard(rule: str, expected: str) -> None:
    """The examples of RFC 5545, 3.8.5.3, with UNTIL as a day, as for a rule without hours; those
    that go on for ever are cut by a COUNT."""
    wanted = days(expected)
    made = pattern(rule, wanted[0])
    assert days_of(made, wanted[0], date(2010, 1, 1)) == tuple(wanted)
    assert span_of([made]) == (wanted[0], wanted[-1] + timedelta(days=1))


@given(
    st.sampled_from(["DAILY", "WEEKLY", "MONTHLY", "YEARLY"]),
    st.integers(1, 5),
    st.sets(st.sampled_from(CODES), max_size=3),
    st.sampled_from(["", ";COUNT=7", ";UNTIL=20280229", ";WKST=SU", ";BYMONTH=2,9"]),
    st.dates(date(2025, 1, 1), date(2027, 12, 31)),
    st.integers(0, 800),
    st.integers(0, 800),
)
@settings(max_examples=60, deadline=None)
def test_the_days_of_a_stretch_are_those_of_the_whole_rule(
    frequency: str, every: int, on: set[str], more: str, first: date, skipped: int, length: int
) -> None:
    """dateutil.rrule, asked for the whole rule at once, is the reference."""
    by_day = f";BYDAY={','.join(sorted(on))}" if on else ""
    rule = f"FREQ={frequency};INTERVAL={every}{by_day}{more}"
    start = first + timedelta(days=skipped - 100)
    until = start + timedelta(days=length)
    whole = rrulestr(rule, dtstart=datetime(first.year, first.month, first.day))
    expected = []
    for found in whole:
        if found.date() >= until:
            break
        if found.date() >= start:
            expected.append(found.date())
    assert list(days_of(pattern(rule, first), start, until)) == expected


@pytest.mark.parametrize(
    ("rule", "says"),
    [
        ("FREQ=HOURLY", "FREQ must be one of DAILY, WEEKLY, MONTHLY, YEARLY"),
        ("FREQ=SECONDLY;COUNT=5", "FREQ must be one of"),
        ("BYDAY=MO", "FREQ must be one of"),
        ("", "FREQ must be one of"),
        ("FREQ=DAILY;BYHOUR=9", "BYHOUR does not go with FREQ=DAILY"),
        ("FREQ=DAILY;BYMONTHDAY=30;BYMONTH=2", "BYMONTHDAY does not go with FREQ=DAILY"),
        ("FREQ=WEEKLY;BYMONTHDAY=1", "BYMONTHDAY does not go with FREQ=WEEKLY"),
        ("FREQ=MONTHLY;BYWEEKNO=2", "BYWEEKNO does not go with FREQ=MONTHLY"),
        ("FREQ=YEARLY;BYEASTER=0", "BYEASTER does not go"),
        ("FREQ=WEEKLY;", "an empty part does not go"),
        ("FREQ=WEEKLY;BYDAY=1MO", "a numbered weekday such as 1MO goes with a month"),
        ("FREQ=WEEKLY;BYDAY=MON", "BYDAY=MON is no weekday such as MO"),
        ("FREQ=WEEKLY;INTERVAL=0", "INTERVAL=0 is not from 1 to 999"),
        ("FREQ=WEEKLY;INTERVAL=99999999999", "is not from 1 to 999"),
        ("FREQ=WEEKLY;INTERVAL=1,2", "INTERVAL must be one number"),
        ("FREQ=MONTHLY;BYMONTHDAY=0", "BYMONTHDAY=0 is not from 1 to 31"),
        ("FREQ=MONTHLY;BYMONTH=-1", "BYMONTH=-1 is not from 1 to 12"),
        ("FREQ=MONTHLY;BYMONTHDAY=²", "is not from 1 to 31"),
        ("FREQ=DAILY;COUNT=3;UNTIL=20270101", "COUNT and UNTIL exclude each other"),
        ("FREQ=DAILY;UNTIL=20270230", "UNTIL must be a day such as 20271231"),
        ("FREQ=DAILY;UNTIL=20270101T000000Z", "UNTIL must be a day"),
        ("FREQ=MONTHLY;BYSETPOS=1", "BYSETPOS needs another part"),
        ("FREQ=DAILY;FREQ=DAILY", "a part comes twice"),
        ("FREQ=WEEKLY;WKST=XX", "WKST must be one of"),
        ("FREQ=DAILY\nRRULE:FREQ=DAILY", "FREQ must be one of"),
        ("FREQ=DAILY;BYMONTH=" + "1," * 200, "longer than 200 characters"),
    ],
)
def test_a_rule_that_the_standard_does_not_allow_is_refused(rule: str, says: str) -> None:
    with pytest.raises(RecordError) as refused:
        check_rule(rule)
    assert says in str(refused.value)
    assert "Write it as RFC 5545 says" in str(refused.value)


def test_a_stored_rule_that_cannot_be_followed_names_its_pattern() -> None:
    wrong = Diary((NORTH,), (replace(MONDAYS, rule="FREQ=HOURLY"),))
    with pytest.raises(RecordError, match=r"^session pattern mondays: the rule"):
        sessions(wrong, date(2026, 12, 1), date(2027, 1, 1))


def test_a_rule_that_never_comes_true_ends_soon_and_is_refused() -> None:
    never = "FREQ=YEARLY;COUNT=1;BYMONTH=2;BYMONTHDAY=30"
    start = perf_counter()
    assert days_of(pattern(never, date(2026, 1, 1)), date(2026, 1, 1), date(2030, 1, 1)) == ()
    with pytest.raises(RecordError, match="makes no session in the ten years from 2026-01-01"):
        first_day(never, date(2026, 1, 1))
    assert span_of([pattern(never, date(2026, 1, 1))]) == (date(2026, 1, 1), date(2026, 1, 2))
    assert perf_counter() - start < 15


def test_the_first_day_of_a_rule_is_its_own_first_day() -> None:
    assert first_day(weekday_rule([3, 0]), date(2026, 12, 1)) == date(2026, 12, 3)
    assert weekday_rule([3, 0]) == "FREQ=WEEKLY;BYDAY=MO,TH"


def test_sessions_come_in_order_and_none_after_the_last_day() -> None:
    ending = replace(MONDAYS, last=date(2026, 12, 21))
    made = sessions(Diary((NORTH, SOUTH), (EXTRA, ending)), date(2026, 12, 8), date(2027, 2, 1))
    assert [s.id for s in made] == [
        "mondays/2026-12-14",
        "extra/2026-12-19",
        "mondays/2026-12-21",
    ]
    assert made[0].time_zone == "Europe/Paris"


def test_a_closure_shuts_from_its_first_day_to_before_its_end_where_it_says() -> None:
    shut = Closure("c", date(2026, 12, 14), date(2026, 12, 21), "roof repair", site="north")
    assert [
        s.id
        for s in sessions(replace(DIARY, closures=(shut,)), date(2026, 12, 7), date(2026, 12, 22))
    ] == ["mondays/2026-12-07", "extra/2026-12-19", "mondays/2026-12-21"]
    other = replace(shut, site="", pattern="extra")
    assert session_of(replace(DIARY, closures=(other,)), "extra/2026-12-19") is None


def test_a_holiday_of_a_region_shuts_only_the_sites_there() -> None:
    of_region = Holiday("FR", "57", date(2026, 12, 19), "a regional day")
    of_country = Holiday("FR", "", date(2026, 12, 14), "a national day")
    diary = replace(DIARY, holidays=(of_country, of_region))
    assert [s.id for s in sessions(diary, date(2026, 12, 7), date(2026, 12, 22))] == [
        "mondays/2026-12-07",
        "mondays/2026-12-21",
    ]


@pytest.mark.parametrize("session_id", ["mondays/2026-12-15", "mondays/x", "none/2026-12-14", ""])
def test_a_session_that_is_not_held_is_not_found(session_id: str) -> None:
    assert session_of(DIARY, session_id) is None


def test_a_session_is_found_by_its_id() -> None:
    found = session_of(DIARY, "mondays/2026-12-14")
    assert found is not None
    assert (found.on, found.starts_minute, found.site) == (date(2026, 12, 14), 540, "north")


def test_a_booking_in_a_session_that_is_held_is_not_shut() -> None:
    assert why_shut(DIARY, AHEAD) == ""


@pytest.mark.parametrize(
    ("diary", "why"),
    [
        (
            replace(DIARY, closures=(Closure("c", AHEAD.on, date(2026, 12, 16), "strike"),)),
            "strike",
        ),
        (
            replace(DIARY, holidays=(Holiday("FR", "", AHEAD.on, "a feast", estimated=True),)),
            "public holiday, a feast (day estimated)",
        ),
        (replace(DIARY, patterns=(EXTRA,)), "the session mondays is no longer held"),
        (replace(DIARY, sites=(SOUTH,)), "the site north is no longer in use"),
        (
            replace(DIARY, patterns=(replace(MONDAYS, rule="FREQ=WEEKLY;BYDAY=TU"),)),
            "the session mondays is not held on this day",
        ),
        (
            replace(DIARY, patterns=(replace(MONDAYS, starts_minute=780, ends_minute=1020),)),
            "the session mondays is now from 13:00 to 17:00, the child is booked for 09:20",
        ),
    ],
)
def test_a_booking_is_shut_with_the_reason(diary: Diary, why: str) -> None:
    assert why_shut(diary, AHEAD) == why


def test_a_booking_without_a_session_is_shut_when_nothing_is_held_that_day() -> None:
    loose = Appointment("K-1/A2", date(2026, 12, 14))
    assert why_shut(DIARY, loose) == ""
    assert why_shut(DIARY, replace(loose, on=date(2026, 12, 15))) == (
        "the diary has no session on this day"
    )
    on_purpose = replace(loose, on=date(2026, 12, 15), overbooked=True)
    assert why_shut(DIARY, on_purpose) == ""
    closed = replace(DIARY, closures=(Closure("c", on_purpose.on, date(2026, 12, 16), "strike"),))
    assert why_shut(closed, on_purpose) == "strike"
    north_only = Closure("c", loose.on, date(2026, 12, 15), "flood", site="north")
    assert why_shut(replace(DIARY, closures=(north_only,)), loose) == "flood"


def test_an_empty_diary_and_days_outside_it_shut_nothing() -> None:
    loose = Appointment("K-1/A2", date(2026, 12, 1))
    assert why_shut(Diary(), loose) == ""
    assert why_shut(DIARY, loose) == ""
    feast = Holiday("FR", "", loose.on, "a feast")
    assert why_shut(Diary(holidays=(feast,)), loose) == "public holiday, a feast"
    elsewhere = replace(SOUTH, country="BE")
    assert why_shut(Diary((NORTH, elsewhere), holidays=(feast,)), loose) == ""


@pytest.mark.parametrize(
    ("zone", "on", "minute", "utc"),
    [
        # RFC 5545, 3.3.5: 02:30 does not occur and is 03:30 summer time; 01:30 comes twice.
        ("America/New_York", date(2007, 3, 11), 150, datetime(2007, 3, 11, 7, 30, tzinfo=UTC)),
        ("America/New_York", date(2007, 11, 4), 90, datetime(2007, 11, 4, 5, 30, tzinfo=UTC)),
        ("Asia/Kolkata", date(2026, 12, 7), 540, datetime(2026, 12, 7, 3, 30, tzinfo=UTC)),
        ("UTC", date(2026, 12, 7), 1440, datetime(2026, 12, 8, tzinfo=UTC)),
    ],
)
def test_a_local_time_is_the_moment_that_the_standard_says(
    zone: str, on: date, minute: int, utc: datetime
) -> None:
    assert moment(on, minute, zone) == utc


@pytest.mark.parametrize(
    ("zone", "on"),
    [
        ("Europe/Paris", date(2026, 3, 29)),
        ("Europe/Paris", date(2026, 10, 25)),
        ("America/Santiago", date(2026, 4, 4)),
        ("America/Santiago", date(2026, 9, 6)),
        ("Australia/Lord_Howe", date(2026, 4, 5)),
        ("Australia/Lord_Howe", date(2026, 10, 4)),
        ("Asia/Kathmandu", date(2026, 10, 4)),
    ],
)
def test_every_minute_of_a_day_on_which_clocks_change_is_what_the_clock_first_shows(
    zone: str, on: date
) -> None:
    """The clock at the site, read minute by minute with zoneinfo, is the reference."""
    clock_of = ZoneInfo(zone)
    midnight = datetime(on.year, on.month, on.day)
    begin = midnight.replace(tzinfo=UTC) - timedelta(hours=26)
    shown: dict[datetime, datetime] = {}
    for n in range(52 * 60):
        now = begin + timedelta(minutes=n)
        shown.setdefault(now.astimezone(clock_of).replace(tzinfo=None), now)
    for minute in range(0, 1440, 5):
        local = midnight + timedelta(minutes=minute)
        if local in shown:
            assert moment(on, minute, zone) == shown[local]
        else:
            before = next(
                back for n in range(1, 181) if (back := local - timedelta(minutes=n)) in shown
            )
            assert moment(on, minute, zone) == shown[before] + (local - before)


def test_eighteen_months_of_a_large_diary_take_a_fraction_of_a_second() -> None:
    patterns = tuple(
        replace(MONDAYS, code=f"p{n}", rule=weekday_rule([n % 5, (n + 2) % 5])) for n in range(50)
    )
    holidays = tuple(
        Holiday("FR", "", date(2026, 12, 1) + timedelta(days=9 * n), "a feast") for n in range(60)
    )
    diary = Diary((NORTH,), patterns, (), holidays)
    start = perf_counter()
    made = sessions(diary, date(2026, 12, 1), date(2028, 6, 1))
    assert perf_counter() - start < 3
    assert len(made) > 6000
