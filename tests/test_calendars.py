"""Calendar files, read back by two parsers that did not write them (vobject and ical)."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import vobject
from hypothesis import given
from hypothesis import strategies as st
from ical.calendar_stream import IcsCalendarStream

from rehab.calendars import ENGLISH, calendar_file
from rehab.care.case import CheckKind, Child, Eye, Method
from rehab.care.changes import Entry, EntryKind, EntryState
from rehab.settings import Clinic

CHILD = Child("K-1047", "Zuleika Quillfeather", date(2025, 6, 1))
CLINIC = Clinic("Harbour Eye Clinic", "01632 960 123", address="1 Quay Street")
DAY = timedelta(days=1)
MADE = date(2026, 1, 5)
REVIEW = "occlusion_review/right/20251001/1"

VISIT = Entry(
    uid="visit@rehab",
    sequence=0,
    changed_on=MADE,
    kind=EntryKind.VISIT,
    state=EntryState.LIVE,
    start=date(2026, 1, 27),
    until=date(2026, 2, 11),
    on=date(2026, 2, 3),
    checks=("pressure_check/right/20251001/1", REVIEW),
)
APPOINTMENT = replace(
    VISIT,
    uid="appointment@rehab",
    sequence=2,
    kind=EntryKind.APPOINTMENT,
    start=date(2026, 4, 7),
    until=date(2026, 4, 8),
    on=date(2026, 4, 7),
    checks=("dilated_fundus/right/20251001/1",),
)
HOURS = Entry(
    uid="hours@rehab",
    sequence=1,
    changed_on=date(2026, 1, 12),
    kind=EntryKind.OCCLUSION,
    state=EntryState.LIVE,
    start=date(2026, 1, 6),
    until=date(2026, 2, 11),
    on=date(2026, 1, 6),
    eye="left",
    minutes_per_day=210,
    days_per_week=7,
)
ENTRIES = (APPOINTMENT, HOURS, VISIT)


@dataclass(frozen=True, slots=True)
class Read:
    """One event as a parser understood it; `days` are the days on which it begins."""

    uid: str
    sequence: int
    title: str
    description: str
    location: str
    status: str
    start: date
    end: date
    days: tuple[date, ...]
    stamp: date
    alarms: tuple[timedelta | datetime, ...]


def read_vobject(content: bytes) -> tuple[Read, ...]:
    def read(event: Any) -> Read:
        rules = event.rruleset
        start = event.dtstart.value
        return Read(
            event.uid.value,
            int(event.sequence.value),
            event.summary.value,
            event.description.value,
            event.location.value if "location" in event.contents else "",
            event.status.value,
            start,
            event.dtend.value,
            tuple(at.date() for at in rules) if rules else (start,),
            event.dtstamp.value,
            tuple(alarm.trigger.value for alarm in event.contents.get("valarm", ())),
        )

    calendar = vobject.readOne(content.decode())
    return tuple(read(event) for event in calendar.contents.get("vevent", ()))


def read_ical(content: bytes) -> tuple[Read, ...]:
    calendar = IcsCalendarStream.calendar_from_ics(content.decode())
    occurrences = list(calendar.timeline)
    return tuple(
        Read(
            event.uid or "",
            event.sequence or 0,
            event.summary or "",
            event.description or "",
            event.location or "",
            event.status or "",
            event.start,
            event.end,
            tuple(o.start for o in occurrences if o.uid == event.uid),
            event.dtstamp,
            tuple(alarm.trigger for alarm in event.alarm),
        )
        for event in calendar.events
    )


Reader = Callable[[bytes], tuple[Read, ...]]
each_reader = pytest.mark.parametrize("read", [read_vobject, read_ical])


def file_of(*entries: Entry, clinic: Clinic = CLINIC) -> bytes:
    return calendar_file(CHILD, entries, clinic)


def only(events: tuple[Read, ...], uid: str) -> Read:
    (event,) = (e for e in events if e.uid == uid)
    return event


def ring(events: tuple[Read, ...]) -> Read:
    (event,) = (e for e in events if e.title == ENGLISH.ring)
    return event


@each_reader
def test_a_visit_spans_its_window_and_is_tentative(read: Reader) -> None:
    event = only(read(file_of(*ENTRIES)), VISIT.uid)
    assert (event.start, event.end) == (date(2026, 1, 27), date(2026, 2, 11))
    assert event.title == "Eye clinic: come in these days (best: 3 Feb 2026)"
    assert event.status == "TENTATIVE"
    assert event.description == (
        "Come on one day from 27 Jan 2026 to 10 Feb 2026; 3 Feb 2026 is best.\n"
        "This is a suggestion until it is booked. "
        "To book, ring Harbour Eye Clinic, 01632 960 123.\n"
        "For: eye pressure; the patching hours."
    )
    assert event.location == "Harbour Eye Clinic, 1 Quay Street"


@each_reader
def test_an_appointment_is_its_one_day_and_confirmed(read: Reader) -> None:
    event = only(read(file_of(*ENTRIES)), APPOINTMENT.uid)
    assert (event.start, event.end) == (date(2026, 4, 7), date(2026, 4, 8))
    assert (event.title, event.status) == ("Eye clinic: appointment", "CONFIRMED")
    assert "If you cannot come, ring Harbour Eye Clinic, 01632 960 123." in event.description


@each_reader
def test_alarms_sound_at_nine_three_days_and_one_day_before_the_best_day(read: Reader) -> None:
    """RFC 5545, 3.8.6.3: for a DATE, a trigger counts from 00:00 of that date."""
    events = read(file_of(*ENTRIES))
    for entry in (VISIT, APPOINTMENT):
        event = only(events, entry.uid)
        best_day = entry.on - event.start
        nine = timedelta(hours=9)
        assert event.alarms == (best_day - 3 * DAY + nine, best_day - DAY + nine)
    assert only(events, HOURS.uid).alarms == ()


@each_reader
def test_occlusion_comes_once_on_each_of_its_days(read: Reader) -> None:
    event = only(read(file_of(*ENTRIES)), HOURS.uid)
    assert event.title == "Patch 3 h 30 min (left eye covered)"
    assert event.end - event.start == DAY
    assert event.days == tuple(HOURS.start + n * DAY for n in range(36))
    assert event.days[-1] == HOURS.until - DAY


@each_reader
def test_a_span_of_one_day_comes_once(read: Reader) -> None:
    one = replace(HOURS, until=HOURS.start + DAY)
    assert only(read(file_of(one)), HOURS.uid).days == (HOURS.start,)


@each_reader
@pytest.mark.parametrize(("minutes", "said"), [(30, "30 min"), (120, "2 h"), (95, "1 h 35 min")])
def test_hours_are_said_without_decimals(read: Reader, minutes: int, said: str) -> None:
    event = only(read(file_of(replace(HOURS, minutes_per_day=minutes))), HOURS.uid)
    assert event.title == f"Patch {said} (left eye covered)"


@each_reader
def test_fewer_than_seven_days_a_week_is_said_in_the_description(read: Reader) -> None:
    every_day = only(read(file_of(HOURS)), HOURS.uid)
    some_days = only(read(file_of(replace(HOURS, days_per_week=6))), HOURS.uid)
    assert every_day.description.startswith("Every day.")
    assert some_days.description.startswith("On 6 days of each week.")


@each_reader
def test_an_entry_that_moved_keeps_its_uid_and_outranks_what_was_sent(read: Reader) -> None:
    moved = replace(VISIT, sequence=1, changed_on=MADE + DAY, on=date(2026, 2, 9))
    old, new = (only(read(file_of(e)), VISIT.uid) for e in (VISIT, moved))
    assert new.sequence > old.sequence
    assert new.stamp == datetime(2026, 1, 6, tzinfo=UTC)
    assert new.title == "Eye clinic: come in these days (best: 9 Feb 2026)"


@each_reader
@pytest.mark.parametrize("entry", [VISIT, APPOINTMENT, HOURS])
def test_what_was_withdrawn_is_sent_as_cancelled_and_stays_silent(
    read: Reader, entry: Entry
) -> None:
    withdrawn = replace(entry, state=EntryState.WITHDRAWN, sequence=entry.sequence + 1)
    event = only(read(file_of(withdrawn)), entry.uid)
    assert (event.status, event.alarms) == ("CANCELLED", ())
    assert event.sequence == entry.sequence + 1


@each_reader
def test_a_visit_that_is_over_stays_in_the_file_without_alarms(read: Reader) -> None:
    event = only(read(file_of(replace(VISIT, state=EntryState.SETTLED))), VISIT.uid)
    assert (event.status, event.alarms) == ("TENTATIVE", ())


@each_reader
def test_the_day_after_the_agreed_hours_asks_to_ring_if_there_was_no_review(read: Reader) -> None:
    event = ring(read(file_of(*ENTRIES)))
    assert (event.start, event.status) == (HOURS.until, "CONFIRMED")
    assert event.description == (
        "The hours agreed so far end on 10 Feb 2026. "
        "To hear how to go on, ring Harbour Eye Clinic, 01632 960 123."
    )


@each_reader
def test_hours_stopped_on_purpose_leave_nothing_to_ring_for(read: Reader) -> None:
    watched = replace(VISIT, checks=(f"{CheckKind.WATCH}/right/20260201/1",))
    assert ring(read(file_of(HOURS, watched))).status == "CANCELLED"


@each_reader
def test_hours_whose_review_is_only_suggested_still_ask_the_family_to_ring(read: Reader) -> None:
    assert ring(read(file_of(HOURS, VISIT))).status == "CONFIRMED"


@each_reader
def test_the_day_to_ring_moves_with_the_hours_and_ends_with_them(read: Reader) -> None:
    longer = replace(HOURS, sequence=2, until=HOURS.until + 20 * DAY)
    stopped = replace(longer, state=EntryState.SETTLED)
    again = replace(longer, sequence=3)
    calls = [ring(read(file_of(e))) for e in (HOURS, longer, stopped, again)]
    assert len({c.uid for c in calls}) == 1
    assert [c.status for c in calls] == ["CONFIRMED", "CONFIRMED", "CANCELLED", "CONFIRMED"]
    assert calls[1].start == longer.until
    sequences = [c.sequence for c in calls]
    assert sequences == sorted(set(sequences))


@each_reader
def test_without_occlusion_nobody_is_asked_to_ring(read: Reader) -> None:
    assert {e.uid for e in read(file_of(VISIT, APPOINTMENT))} == {VISIT.uid, APPOINTMENT.uid}


def test_both_parsers_read_the_same_events() -> None:
    content = file_of(*ENTRIES, replace(VISIT, uid="old@rehab", state=EntryState.WITHDRAWN))
    assert read_vobject(content) == read_ical(content)
    assert len(read_ical(content)) == 5


def test_events_stand_in_order_of_date_then_uid_whatever_order_they_came_in() -> None:
    twin = replace(VISIT, uid="another@rehab")
    content = file_of(*ENTRIES, twin)
    assert content == file_of(twin, *reversed(ENTRIES))
    uids = [e.uid for e in read_vobject(content) if e.title != ENGLISH.ring]
    assert uids == [HOURS.uid, twin.uid, VISIT.uid, APPOINTMENT.uid]


def test_a_child_without_entries_has_a_calendar_without_events() -> None:
    assert read_vobject(file_of()) == read_ical(file_of()) == ()


def unfolded(content: bytes) -> list[str]:
    return content.replace(b"\r\n ", b"").decode().splitlines()


def test_the_calendar_has_the_properties_it_must_have() -> None:
    """RFC 5545, 3.6: PRODID and VERSION; no METHOD, since nobody is invited."""
    lines = unfolded(file_of(*ENTRIES))
    assert lines[0] == "BEGIN:VCALENDAR"
    assert "VERSION:2.0" in lines
    assert "PRODID:-//Rehab//Family calendar//EN" in lines
    assert not [line for line in lines if line.startswith("METHOD")]
    (uid,) = lines[lines.index("X-WR-CALNAME:Eye clinic") + 1 : lines.index("BEGIN:VEVENT")]
    assert uid.startswith("UID:")
    assert uid.endswith("@rehab")


def test_every_event_has_the_properties_it_must_have() -> None:
    """RFC 5545, 3.6.1 and 3.6.6."""
    lines = unfolded(file_of(*ENTRIES))
    events = "\n".join(lines).split("BEGIN:VEVENT\n")[1:]
    assert len(events) == 4
    for event in events:
        for required in ("UID:", "DTSTAMP:", "DTSTART;VALUE=DATE:", "DTEND;VALUE=DATE:"):
            assert event.count(f"\n{required}") == 1
        for said in ("SEQUENCE:", "TRANSP:TRANSPARENT", "CLASS:PRIVATE", "STATUS:"):
            assert event.count(f"\n{said}") == 1
        assert event.count("BEGIN:VALARM") == event.count("ACTION:DISPLAY")
        assert event.count("BEGIN:VALARM") == event.count("\nTRIGGER:")
    assert "RRULE:FREQ=DAILY;UNTIL=20260210" in lines


NAMES = (
    'Harbour, Quay; and \\ Sons: "Eyes"',
    "First line\nSecond line",
    "👶🏽👨‍👩‍👧 eye clinic " * 6,
    "عيادة العيون للأطفال في المدينة " * 6,
    "नेत्र चिकित्सालय " * 9,
)


@each_reader
@pytest.mark.parametrize("name", NAMES)
def test_any_name_of_a_clinic_comes_back_as_it_was_written(read: Reader, name: str) -> None:
    clinic = replace(CLINIC, name=name)
    event = only(read(file_of(APPOINTMENT, clinic=clinic)), APPOINTMENT.uid)
    assert event.location == f"{name}, 1 Quay Street"
    assert f"ring {name}, 01632 960 123." in event.description


@each_reader
@pytest.mark.parametrize("line_end", ["\r\n", "\r", "\n", "\x85", "\u2028"])
def test_an_address_keeps_its_lines_however_they_were_ended(read: Reader, line_end: str) -> None:
    clinic = replace(CLINIC, address=f"1 Quay Street{line_end}Harbour")
    event = only(read(file_of(APPOINTMENT, clinic=clinic)), APPOINTMENT.uid)
    assert event.location == "Harbour Eye Clinic, 1 Quay Street\nHarbour"


@given(st.text(), st.text(), st.text())
def test_no_text_breaks_the_lines_of_the_file(name: str, phone: str, address: str) -> None:
    """RFC 5545, 3.1: lines end with CRLF and have at most 75 octets without it."""
    content = file_of(*ENTRIES, clinic=Clinic(name, phone, address=address))
    assert content.endswith(b"END:VCALENDAR\r\n")
    lines = content.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert not [line for line in lines if b"\r" in line or b"\n" in line]
    for line in lines:
        line.decode()
    assert read_vobject(content) == read_ical(content)


def test_the_file_names_neither_the_child_nor_the_disease() -> None:
    keys = tuple(f"{kind}/right/20251001/1" for kind in CheckKind)
    content = "\n".join(unfolded(file_of(*ENTRIES, replace(VISIT, uid="all@rehab", checks=keys))))
    secrets = (*CHILD.name.split(), CHILD.number, "2025-06-01", "20250601")
    for word in ("cataract", "aphak", "amblyop", "lens removal", "glaucoma", *secrets):
        assert word.lower() not in content.lower()


def test_every_check_and_eye_has_words_for_the_family() -> None:
    assert set(ENGLISH.checks) == set(CheckKind)
    assert set(ENGLISH.eyes) == set(Eye)
    assert len(ENGLISH.months) == 12


def test_the_words_of_another_language_take_the_place_of_the_english() -> None:
    words = replace(ENGLISH, appointment="Augenklinik: Termin", cannot_come="Ruf an: {clinic}.")
    event = only(read_ical(calendar_file(CHILD, ENTRIES, CLINIC, words)), APPOINTMENT.uid)
    assert event.title == "Augenklinik: Termin"
    assert event.description.startswith("Ruf an: Harbour Eye Clinic, 01632 960 123.")


@pytest.mark.parametrize(
    ("method", "title"),
    [
        ("", "Patch 2 h (left eye covered)"),
        (Method.PATCH, "Patch 2 h (left eye covered)"),
        (Method.CLOTH_PATCH, "Cloth patch 2 h (left eye covered)"),
        (Method.FILTER, "Filter on the glasses 2 h (left eye)"),
        (Method.OPTICAL_BLUR, "Blurring lens 2 h (left eye)"),
    ],
)
def test_the_title_names_the_method(method: str, title: str) -> None:
    hours = replace(HOURS, method=method, minutes_per_day=120)
    assert only(read_ical(file_of(hours)), HOURS.uid).title == title
