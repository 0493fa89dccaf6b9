"""An appointment with an hour stands in the family's calendar at that hour and place."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo, available_timezones

from hypothesis import given
from hypothesis import strategies as st

from rehab.calendars import calendar_file
from rehab.care.changes import Entry
from rehab.care.diary import Site
from tests.test_calendars import (
    APPOINTMENT,
    CHILD,
    CLINIC,
    Reader,
    each_reader,
    read_vobject,
    unfolded,
)

QUAY = Site("quay", "Quay House", "2 Pier Road", "Europe/London")
BOOKED = replace(APPOINTMENT, session="quay/7", starts_minute=9 * 60 + 40, minutes=25)


def timed_file(entry: Entry = BOOKED, site: Site = QUAY) -> bytes:
    return calendar_file(CHILD, (entry,), CLINIC, sites={"quay/7": site})


@each_reader
def test_an_appointment_in_a_session_has_its_hour_in_utc_and_its_place(read: Reader) -> None:
    """7 April 2026 is in British Summer Time, one hour ahead of UTC."""
    (event,) = read(timed_file())
    assert event.start == datetime(2026, 4, 7, 8, 40, tzinfo=UTC)
    assert event.end == datetime(2026, 4, 7, 9, 5, tzinfo=UTC)
    assert event.location == "Quay House, 2 Pier Road"
    assert event.status == "CONFIRMED"


def test_an_hour_is_written_in_utc_so_that_no_time_zone_need_be_explained() -> None:
    lines = unfolded(timed_file())
    assert "DTSTART:20260407T084000Z" in lines
    assert "DTEND:20260407T090500Z" in lines
    assert "BEGIN:VTIMEZONE" not in lines


@each_reader
def test_alarms_of_an_hour_sound_at_nine_by_the_clocks_of_the_place(read: Reader) -> None:
    """The clocks of London went forward on 29 March 2026, between the first alarm and the hour."""
    after_change = replace(BOOKED, start=date(2026, 3, 31), until=date(2026, 4, 1))
    (event,) = read(timed_file(replace(after_change, on=after_change.start)))
    assert isinstance(event.start, datetime)
    sound = [event.start + a for a in event.alarms if isinstance(a, timedelta)]
    assert sound == [
        datetime(2026, 3, 28, 9, tzinfo=UTC),
        datetime(2026, 3, 30, 8, tzinfo=UTC),
    ]


@each_reader
def test_a_session_that_nobody_knows_any_more_is_at_the_clinic(read: Reader) -> None:
    (event,) = read(calendar_file(CHILD, (BOOKED,), CLINIC))
    assert event.start == datetime(2026, 4, 7, 9, 40, tzinfo=UTC)
    assert event.location == "Harbour Eye Clinic, 1 Quay Street"


@each_reader
def test_an_hour_in_the_night_when_clocks_change_is_one_moment(read: Reader) -> None:
    """01:30 came twice in London on 25 October 2026; the first of the two is meant."""
    twice = replace(BOOKED, on=date(2026, 10, 25), starts_minute=90)
    (event,) = read(timed_file(twice))
    assert event.start == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)


@given(st.sampled_from(sorted(available_timezones())), st.integers(0, 24 * 60 - 1))
def test_any_hour_anywhere_comes_back_by_its_local_clock(zone: str, minute: int) -> None:
    entry = replace(BOOKED, starts_minute=minute)
    (event,) = read_vobject(timed_file(entry, replace(QUAY, time_zone=zone)))
    assert isinstance(event.start, datetime)
    local = event.start.astimezone(ZoneInfo(zone))
    assert (local.date(), local.hour * 60 + local.minute) == (entry.on, minute)
