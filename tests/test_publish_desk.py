"""The clinic's appointments on a real calendar server: never written twice, never over a person."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import pytest
import vobject
from ical.calendar_stream import IcsCalendarStream

from rehab.calendar_server import Address
from rehab.care.case import Appointment, Ending, EndingKind, Outcome
from rehab.care.diary import Closure, SessionPattern, Site
from rehab.errors import CalendarServerError
from rehab.publish_desk import (
    Choice,
    Fate,
    Told,
    appointments_part,
    publish,
    sessions_part,
)
from rehab.refresh import bring_up_to_date
from rehab.session_dates import sessions
from rehab.settings import read_settings
from rehab.store.store import Stamp
from rehab.workflow import Desk, open_desk
from tests.calendar_servers import PASSWORD, USER, CalDav
from tests.conftest import Clinic

TODAY = date(2026, 4, 20)
MONDAY = date(2026, 5, 4)
DAY = timedelta(days=1)
STAMP = Stamp("M. Okoro", datetime(2026, 4, 20, 8, tzinfo=UTC), "asked for")
QUAY = Site("quay", "Quay House", "2 Pier Road", "Europe/London")
MORNINGS = SessionPattern(
    "mornings", "quay", date(2026, 4, 6), 540, 720, 240, "FREQ=WEEKLY;BYDAY=MO", who="M. Okoro"
)


@dataclass(frozen=True)
class Desktop:
    """A clinic with sessions on Monday mornings, its desk, and the server it publishes to."""

    desk: Desk
    server: CalDav

    def book(self, on: date, at: int, number: str = "K-017") -> str:
        (held,) = sessions(self.desk.store.diary(), on, on + DAY)
        with self.desk.store.transaction() as tx:
            appointment = Appointment("", on, session=held.id, starts_minute=at, minutes=20)
            return tx.add(number, appointment, STAMP)

    def correct(self, key: str, **changes: object) -> None:
        with self.desk.store.transaction() as tx:
            case = tx.case(key.partition("/")[0])
            (old,) = (a for a in case.appointments if a.id == key)
            tx.correct(key, replace(old, **changes), STAMP, tx.version(key))  # type: ignore[arg-type]

    def publish(
        self, today: date = TODAY, *, overwrite: bool = False, names: bool = False
    ) -> list[Told]:
        bring_up_to_date(self.desk, today, follow=True)
        part = appointments_part(self.desk, Choice(), today, names=names)
        self.server.asked = []
        return list(publish(self.desk, part, self.address, overwrite=overwrite))

    def publish_sessions(self) -> list[Told]:
        bring_up_to_date(self.desk, TODAY, follow=True)
        until = MONDAY + 7 * DAY
        part = sessions_part(self.desk, Choice("quay"), MONDAY, until, names=False, today=TODAY)
        return list(publish(self.desk, part, self.address, overwrite=False))

    @property
    def address(self) -> Address:
        return Address(self.server.url, USER, PASSWORD, timeout_seconds=5)

    def edit(self, old: str, new: str) -> None:
        """As a person's calendar program does it: every event that says `old` now says `new`."""
        for path in self.server.calendar.glob("*.ics"):
            path.write_bytes(path.read_bytes().replace(old.encode(), new.encode()))


@pytest.fixture
def at(asel: Clinic, server: CalDav) -> Iterator[Desktop]:
    desk = open_desk(read_settings(asel.home))
    with desk.store.transaction() as tx:
        tx.add_to_diary(QUAY, STAMP)
        tx.add_to_diary(MORNINGS, STAMP)
    yield Desktop(desk, server)
    desk.store.close()


def fates(told: list[Told]) -> list[Fate]:
    return [one.fate for one in told]


def only_event(server: CalDav) -> str:
    (content,) = server.events().values()
    return content


def test_a_booked_appointment_stands_there_at_its_hour_and_place(at: Desktop) -> None:
    at.book(MONDAY, 580)
    assert at.publish() == [Told("K-017 on 2026-05-04 at 09:40", Fate.NEW)]
    content = only_event(at.server)
    event = vobject.readOne(content).vevent
    (other,) = IcsCalendarStream.calendar_from_ics(content).events
    starts = datetime(2026, 5, 4, 8, 40, tzinfo=UTC)
    assert event.dtstart.value == other.start == starts
    assert event.dtend.value == other.end == starts + timedelta(minutes=20)
    assert event.location.value == other.location == "Quay House, 2 Pier Road"
    assert event.status.value == other.status == "CONFIRMED"
    assert event.summary.value == other.summary
    assert event.summary.value.startswith("K-017: ")
    assert "contact lens review" in event.summary.value
    assert "contact lens review (right eye)" in event.description.value


def test_no_name_goes_there_unless_it_was_asked_for(at: Desktop) -> None:
    at.book(MONDAY, 580)
    at.publish()
    assert "Asel" not in only_event(at.server)
    assert fates(at.publish(names=True)) == [Fate.CHANGED]
    assert "SUMMARY:K-017 Asel T: " in only_event(at.server)


def test_what_is_published_twice_is_sent_once(at: Desktop) -> None:
    at.book(MONDAY, 580)
    at.book(MONDAY + 7 * DAY, 600)
    assert fates(at.publish()) == [Fate.NEW, Fate.NEW]
    before = at.server.events()
    assert len(at.server.writes()) == 2
    assert fates(at.publish()) == [Fate.KEPT, Fate.KEPT]
    assert at.server.writes() == []
    assert at.server.events() == before


def test_a_moved_appointment_is_the_same_event_and_outranks_the_old(at: Desktop) -> None:
    key = at.book(MONDAY, 580)
    at.publish()
    (name,) = at.server.events()
    at.correct(key, on=MONDAY + 7 * DAY, starts_minute=600)
    assert at.publish() == [Told("K-017 on 2026-05-11 at 10:00", Fate.CHANGED)]
    assert list(at.server.events()) == [name]
    event = vobject.readOne(only_event(at.server)).vevent
    assert event.dtstart.value == datetime(2026, 5, 11, 9, tzinfo=UTC)
    assert event.sequence.value == "1"


def test_a_cancelled_appointment_stays_there_as_cancelled_until_its_day_has_passed(
    at: Desktop,
) -> None:
    key = at.book(MONDAY, 580)
    at.publish()
    at.correct(key, outcome=Outcome.CANCELLED_BY_FAMILY)
    assert fates(at.publish()) == [Fate.CANCELLED]
    cancelled = only_event(at.server)
    assert vobject.readOne(cancelled).vevent.status.value == "CANCELLED"
    assert fates(at.publish(MONDAY)) == [Fate.KEPT]
    assert at.publish(MONDAY + DAY) == []
    assert at.server.writes() == []
    assert only_event(at.server) == cancelled
    assert at.desk.store.published(f"appointments   {at.server.url}") == {}


def test_an_appointment_cancelled_before_anybody_saw_it_is_not_sent(at: Desktop) -> None:
    key = at.book(MONDAY, 580)
    at.correct(key, outcome=Outcome.CANCELLED_BY_CLINIC)
    assert at.publish() == []
    assert at.server.events() == {}


def test_an_appointment_that_was_held_stays_as_it_was(at: Desktop) -> None:
    at.book(MONDAY, 580)
    at.publish()
    before = only_event(at.server)
    assert at.publish(MONDAY + DAY) == []
    assert only_event(at.server) == before


def test_what_was_entered_in_error_and_what_care_here_outlived_is_cancelled(at: Desktop) -> None:
    wrong = at.book(MONDAY, 580)
    at.book(MONDAY + 7 * DAY, 600)
    at.publish()
    with at.desk.store.transaction() as tx:
        tx.withdraw(wrong, STAMP, 1)
    assert fates(at.publish()) == [Fate.CANCELLED, Fate.KEPT]
    with at.desk.store.transaction() as tx:
        tx.add("K-017", Ending(EndingKind.MOVED, TODAY), STAMP)
    assert fates(at.publish()) == [Fate.KEPT, Fate.CANCELLED]


def test_appointments_of_a_child_entered_in_error_are_cancelled(at: Desktop) -> None:
    at.book(MONDAY, 580)
    at.publish()
    with at.desk.store.transaction() as tx:
        tx.withdraw("K-017", STAMP, 1)
    assert at.publish() == [Told("an event on 2026-05-04", Fate.CANCELLED)]
    assert "STATUS:CANCELLED" in only_event(at.server)
    assert at.publish() == []
    assert at.server.writes() == []


def test_what_a_person_changed_there_is_told_and_left_alone(at: Desktop) -> None:
    key = at.book(MONDAY, 580)
    at.publish()
    at.edit("DTSTART:20260504T084000Z", "DTSTART:20260504T090000Z")
    at.edit("SUMMARY:", "SUMMARY:(ring first) ")
    edited = only_event(at.server)
    (told,) = at.publish()
    assert told.fate is Fate.EDITED_THERE
    assert "begins 2026-05-04 09:00, here 2026-05-04 08:40" in told.what
    assert 'title "(ring first) K-017: ' in told.what
    at.correct(key, starts_minute=620)
    assert fates(at.publish()) == [Fate.EDITED_THERE]
    assert at.server.writes() == []
    assert only_event(at.server) == edited


def test_ours_is_put_back_over_a_change_only_when_asked(at: Desktop) -> None:
    at.book(MONDAY, 580)
    at.publish()
    before = only_event(at.server)
    at.edit("SUMMARY:", "SUMMARY:(ring first) ")
    assert fates(at.publish(overwrite=True)) == [Fate.CHANGED]
    assert only_event(at.server) == before
    assert fates(at.publish()) == [Fate.KEPT]


def test_a_reminder_that_a_person_added_is_a_change_too(at: Desktop) -> None:
    at.book(MONDAY, 580)
    at.publish()
    alarm = "BEGIN:VALARM\nACTION:DISPLAY\nDESCRIPTION:now\nTRIGGER:-PT1H\nEND:VALARM\n"
    at.edit("END:VEVENT", f"{alarm}END:VEVENT")
    assert [(t.fate, t.what) for t in at.publish()] == [
        (Fate.EDITED_THERE, "something was added to it")
    ]


def test_what_a_program_rewrote_without_changing_it_is_no_change(at: Desktop) -> None:
    key = at.book(MONDAY, 580)
    at.publish()
    at.edit("SEQUENCE:0", "SEQUENCE:4\nX-SEEN:yes\nLAST-MODIFIED:20260421T101500Z")
    at.edit("DTSTAMP:20260420T080000Z", "DTSTAMP:20260421T101500Z")
    assert fates(at.publish()) == [Fate.KEPT]
    assert at.server.writes() == []
    at.correct(key, starts_minute=600)
    assert fates(at.publish()) == [Fate.CHANGED]


def test_what_a_person_deleted_there_is_told_and_put_back_only_when_asked(at: Desktop) -> None:
    at.book(MONDAY, 580)
    at.publish()
    (name,) = at.server.events()
    (at.server.calendar / name).unlink()
    deleted = [Told("K-017 on 2026-05-04 at 09:40", Fate.DELETED_THERE)]
    assert at.publish() == deleted
    assert at.publish() == deleted
    assert at.server.events() == {}
    assert fates(at.publish(overwrite=True)) == [Fate.NEW]
    assert list(at.server.events()) == [name]


def test_what_was_deleted_there_and_then_cancelled_here_is_over(at: Desktop) -> None:
    key = at.book(MONDAY, 580)
    at.publish()
    (name,) = at.server.events()
    (at.server.calendar / name).unlink()
    at.correct(key, outcome=Outcome.CANCELLED_BY_FAMILY)
    assert at.publish() == at.publish() == []
    assert at.server.events() == {}


def test_work_that_the_server_ended_half_way_goes_on_from_there(at: Desktop) -> None:
    for week in range(3):
        at.book(MONDAY + week * 7 * DAY, 580)

    def full(method: str, path: str) -> int | None:
        return 507 if method == "PUT" and len(at.server.events()) == 2 else None

    at.server.answer = full
    with pytest.raises(CalendarServerError, match="the server has no room left"):
        at.publish()
    assert len(at.server.events()) == 2
    at.server.answer = None
    assert fates(at.publish()) == [Fate.KEPT, Fate.KEPT, Fate.NEW]
    assert len(at.server.writes()) == 1


def test_what_reached_the_server_before_a_crash_is_recognised(at: Desktop) -> None:
    key = at.book(MONDAY, 580)
    at.publish()
    calendar = f"appointments   {at.server.url}"
    ((uid, kept),) = at.desk.store.published(calendar).items()
    with at.desk.store.transaction() as tx:
        tx.set_published(calendar, uid, None)
    assert fates(at.publish()) == [Fate.KEPT]
    assert at.server.writes() == []
    assert at.desk.store.published(calendar) == {uid: kept}
    at.correct(key, starts_minute=600)
    assert fates(at.publish()) == [Fate.CHANGED]


def test_what_changes_there_in_the_moment_of_writing_is_left_alone(at: Desktop) -> None:
    key = at.book(MONDAY, 580)
    at.publish()
    at.correct(key, starts_minute=600)

    def edited_just_now(method: str, path: str) -> None:
        if method == "PUT":
            at.edit("SUMMARY:K", "SUMMARY:(ring first) K")

    at.server.answer = edited_just_now
    assert [(t.fate, t.what) for t in at.publish()] == [
        (Fate.EDITED_THERE, "it changed there just now")
    ]
    assert "SUMMARY:(ring first) K-017" in only_event(at.server)


def test_events_of_others_in_the_same_calendar_are_not_touched(at: Desktop) -> None:
    at.book(MONDAY, 580)
    at.publish()
    theirs = only_event(at.server).replace("UID:", "UID:theirs-")
    (at.server.calendar / "theirs.ics").write_text(theirs)
    at.publish(overwrite=True)
    at.publish(MONDAY + DAY)
    assert at.server.events()["theirs.ics"] == theirs


def test_a_session_tells_who_is_booked_into_it_by_number(at: Desktop) -> None:
    at.book(MONDAY, 580)
    assert at.publish_sessions() == [Told("session mornings on 2026-05-04 at 09:00", Fate.NEW)]
    event = vobject.readOne(only_event(at.server)).vevent
    assert event.summary.value == "Quay House: all checks (M. Okoro)"
    assert event.dtstart.value == datetime(2026, 5, 4, 8, tzinfo=UTC)
    assert event.dtend.value == datetime(2026, 5, 4, 11, tzinfo=UTC)
    head, line = event.description.value.splitlines()
    assert head == "1 booked, 20 of 240 minutes"
    assert line.startswith("09:40 K-017: ")
    assert "contact lens review (right eye)" in line
    assert fates(at.publish_sessions()) == [Fate.KEPT]


def test_a_session_that_is_closed_is_cancelled_and_comes_back_when_it_opens(at: Desktop) -> None:
    at.publish_sessions()
    closure = Closure("leave", MONDAY, MONDAY + DAY, "leave")
    with at.desk.store.transaction() as tx:
        key = tx.add_to_diary(closure, STAMP)
    assert fates(at.publish_sessions()) == [Fate.CANCELLED]
    assert "STATUS:CANCELLED" in only_event(at.server)
    assert at.publish_sessions() == []
    with at.desk.store.transaction() as tx:
        tx.withdraw(key, STAMP, 1)
    assert fates(at.publish_sessions()) == [Fate.CHANGED]
    assert "STATUS:CONFIRMED" in only_event(at.server)


def test_sessions_and_appointments_in_one_calendar_leave_each_other_alone(at: Desktop) -> None:
    at.book(MONDAY, 580)
    at.publish()
    at.publish_sessions()
    assert fates(at.publish()) == [Fate.KEPT]
    assert fates(at.publish_sessions()) == [Fate.KEPT]
    assert len(at.server.events()) == 2


def test_of_one_site_only_what_is_in_its_sessions_is_told(at: Desktop) -> None:
    at.book(MONDAY, 580)
    with at.desk.store.transaction() as tx:
        tx.add("K-017", Appointment("", MONDAY + DAY), STAMP)
    everywhere = appointments_part(at.desk, Choice(), TODAY, names=False).events
    at_quay = appointments_part(at.desk, Choice("quay"), TODAY, names=False).events
    assert [e.title for e in everywhere] == [
        "K-017 on 2026-05-04 at 09:40",
        "K-017 on 2026-05-05",
    ]
    assert [e.title for e in at_quay] == ["K-017 on 2026-05-04 at 09:40"]
