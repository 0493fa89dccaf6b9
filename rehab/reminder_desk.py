"""Reminders that are due, written to the outbox once each, and what a person must do besides."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from rehab import workflow
from rehab.calendars import ENGLISH, calendar_file
from rehab.care.case import Appointment, Case
from rehab.care.changes import ONE_DAY, Entry, EntryKind, EntryState, derived_uid
from rehab.care.contacts import Way
from rehab.care.diary import Site
from rehab.care.messages import Message
from rehab.care.reminding import (
    Reminder,
    consented,
    due_appointments,
    first_day,
    is_rung,
    last_day,
    mailbox,
    reminders,
)
from rehab.errors import RehabError
from rehab.letters.reminder import Told, ToTell, has_words_in, tell
from rehab.measures.clock import clock
from rehab.publish_desk import home_site, session_sites
from rehab.workflow import Desk


@dataclass(frozen=True, slots=True)
class Written:
    """What came of writing: the new messages, how many were there, and what a person must do.

    `unreachable` have agreed to no way and nobody has spoken with them yet; the appointments of
    `shut` cannot be kept, each with why; `untranslated` are in a language without a template.
    """

    new: tuple[Message, ...]
    known: int
    unreachable: tuple[tuple[Case, Appointment], ...]
    shut: tuple[tuple[Case, Appointment, str], ...]
    untranslated: tuple[Case, ...]


def write_due(desk: Desk, *, today: date, at: datetime) -> Written:
    """Writes the messages that are due today to the outbox; run again, it writes none twice."""
    days = desk.settings.clinic.reminder_days
    until = last_day(today, days) + ONE_DAY
    with desk.store.transaction() as tx:
        numbers = tx.outbox.booked_numbers(today, until)
    cases = tuple(desk.store.cases(numbers))
    writer = _writer(desk, cases, today, until)
    due = {case.child.number: due_appointments(case, today, days) for case in cases}
    booked = [(case, appointment) for case in cases for appointment, _ in due[case.child.number]]
    shut = {a.id: why for _, a in booked if (why := desk.why_shut(a))}
    new: list[Message] = []
    known, untranslated = 0, []
    for case in cases:
        wanted = [r for r in reminders(case, today, days) if r.appointment.id not in shut]
        with desk.store.transaction() as tx:
            there = tx.outbox.known(r.uid for r in wanted)
        written = writer.messages(case, [r for r in wanted if r.uid not in there])
        with desk.store.transaction() as tx:
            put = [message for message in written if tx.outbox.put(message, at)]
        new += put
        known += len(wanted) - len(put)
        if written and not has_words_in(case.child.language, desk.settings.home):
            untranslated.append(case)
    return Written(
        new=tuple(new),
        known=known,
        unreachable=tuple((c, a) for c, a in booked if a.id not in shut and _must_ring(c, a, days)),
        shut=tuple((c, a, shut[a.id]) for c, a in booked if a.id in shut),
        untranslated=tuple(untranslated),
    )


def _must_ring(case: Case, booked: Appointment, days: Sequence[int]) -> bool:
    return not consented(case) and not is_rung(case, first_day(booked.on, days))


@dataclass(frozen=True, slots=True)
class _Writer:
    """What every message of today is written with."""

    desk: Desk
    today: date
    sites: Mapping[str, Site]
    named: frozenset[str]

    def messages(self, case: Case, due: Sequence[Reminder]) -> list[Message]:
        entries = self._entries(case) if due else ()
        return [self._message(case, reminder, entries) for reminder in due]

    def _message(self, case: Case, reminder: Reminder, entries: Sequence[Entry]) -> Message:
        clinic, child, booked = self.desk.settings.clinic, case.child, reminder.appointment
        site = self.sites.get(booked.session, home_site(clinic))
        name = "" if site.name == clinic.name else site.name
        to = ToTell(
            on=booked.on,
            time="" if booked.starts_minute is None else clock(booked.starts_minute),
            place=_plain(", ".join(filter(None, (name, site.address)))),
            clinic=_plain(clinic.name),
            phone=_plain(clinic.phone),
            first_name=child.name.split()[0] if child.number in self.named else "",
        )
        told = tell(to, child.language, self.desk.settings.home)
        return Message(
            uid=reminder.uid,
            child_number=child.number,
            appointment=booked.id,
            appointment_on=booked.on,
            days_before=reminder.days_before,
            way=reminder.way,
            address=reminder.address,
            subject=told.subject,
            text=told.text_message if reminder.way is Way.TEXT else told.email,
            calendar=self._calendar(_entry(case, booked, entries, self.today), case, told, site),
        )

    def _entries(self, case: Case) -> tuple[Entry, ...]:
        """What the family's calendar holds; nothing of a child that cannot be planned."""
        try:
            return workflow.refresh(self.desk, case.child.number, today=self.today)[2]
        except RehabError:
            return ()

    def _calendar(self, entry: Entry, case: Case, told: Told, site: Site) -> str:
        """The appointment as it stands in the family's own calendar, without what it is for."""
        words = replace(
            ENGLISH,
            months=told.months,
            checks={},
            calendar=told.title,
            appointment=told.title,
            cannot_come=told.cannot_come,
            alarm=f"{told.title}: {{day}}",
        )
        clinic = self.desk.settings.clinic
        return calendar_file(case.child, [entry], clinic, words, {entry.session: site}).decode()


def _entry(case: Case, booked: Appointment, entries: Sequence[Entry], today: date) -> Entry:
    """The entry of the family's calendar for this appointment, else one of its own."""
    alone = Entry(
        uid=derived_uid(case.child.number, "reminder", booked.id),
        sequence=0,
        changed_on=today,
        kind=EntryKind.APPOINTMENT,
        state=EntryState.LIVE,
        start=booked.on,
        until=booked.on + ONE_DAY,
        on=booked.on,
        session=booked.session,
        starts_minute=booked.starts_minute,
        minutes=booked.minutes,
    )
    return next((entry for entry in entries if _booking(entry) == _booking(alone)), alone)


def _booking(entry: Entry) -> tuple[object, ...]:
    return entry.kind, entry.state, entry.on, entry.session, entry.starts_minute


def _writer(desk: Desk, cases: Sequence[Case], today: date, until: date) -> _Writer:
    """Children are named where a family could mistake which one it is."""
    families = Counter(child.family for child in desk.store.children() if child.family)
    boxes = {case.child.number: [mailbox(*to) for to in consented(case)] for case in cases}
    reached = Counter(box for of_child in boxes.values() for box in of_child)
    named = frozenset(
        case.child.number
        for case in cases
        if families[case.child.family] > 1
        or any(reached[box] > 1 for box in boxes[case.child.number])
    )
    sites = session_sites(desk.diary, desk.settings.clinic, today, until)
    return _Writer(desk, today, sites, named)


def _plain(text: str) -> str:
    return " ".join(text.split())
