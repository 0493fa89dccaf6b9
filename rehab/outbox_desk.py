"""Reminders: those that are due written to the outbox, and those that wait sent, each once.

A message is claimed before it is sent. Whatever ends the work in between leaves it as one of
which nobody knows, which is never sent again unless a person says so.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from rehab import workflow
from rehab.calendars import ENGLISH, calendar_file
from rehab.care.case import Appointment, Case
from rehab.care.changes import ONE_DAY, Entry, EntryKind, EntryState, derived_uid
from rehab.care.contacts import Way
from rehab.care.diary import Site
from rehab.care.messages import Message, MessageState
from rehab.care.reminding import (
    Reminder,
    consented,
    due_appointments,
    first_day,
    is_rung,
    last_day,
    reminders,
    why_not,
)
from rehab.clinic_days import why_not_kept
from rehab.errors import NotSent, RecordError, RehabError, SendError
from rehab.letters.reminder import Told, ToTell, tell
from rehab.publish_desk import home_site, session_sites
from rehab.senders import Sender
from rehab.session_dates import clock
from rehab.store.store import Stamp, Transaction
from rehab.workflow import Desk

AFTER_AN_ERROR = {
    NotSent.REFUSED: MessageState.FAILED,
    NotSent.LATER: MessageState.WAITING,
    NotSent.NONE_NOW: MessageState.WAITING,
    NotSent.UNKNOWN: MessageState.SENDING,
}
OPEN_QUESTIONS = (MessageState.SENDING, MessageState.FAILED)
ANSWERS = (MessageState.SENT, MessageState.FAILED, MessageState.WAITING)


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
        written = [writer.message(case, r) for r in wanted if r.uid not in there]
        with desk.store.transaction() as tx:
            put = [message for message, _ in written if tx.outbox.put(message, at)]
        new += put
        known += len(wanted) - len(put)
        if not all(translated for _, translated in written):
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

    def message(self, case: Case, reminder: Reminder) -> tuple[Message, bool]:
        """The message, and whether it is in the family's own language."""
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
        message = Message(
            uid=reminder.uid,
            child_number=child.number,
            appointment=booked.id,
            appointment_on=booked.on,
            days_before=reminder.days_before,
            way=reminder.way,
            address=reminder.address,
            subject=told.subject,
            text=told.text_message if reminder.way is Way.TEXT else told.email,
            calendar=self._calendar(case, booked, told, site),
        )
        return message, told.language == child.language.strip().lower().partition("-")[0]

    def _calendar(self, case: Case, booked: Appointment, told: Told, site: Site) -> str:
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
        entry = self._entry(case, booked)
        clinic = self.desk.settings.clinic
        return calendar_file(case.child, [entry], clinic, words, {booked.session: site}).decode()

    def _entry(self, case: Case, booked: Appointment) -> Entry:
        fresh = Entry(
            uid=derived_uid(case.child.number, "reminder", booked.id),
            sequence=0,
            changed_on=self.today,
            kind=EntryKind.APPOINTMENT,
            state=EntryState.LIVE,
            start=booked.on,
            until=booked.on + ONE_DAY,
            on=booked.on,
            session=booked.session,
            starts_minute=booked.starts_minute,
            minutes=booked.minutes,
        )
        try:
            _, _, entries = workflow.refresh(self.desk, case.child.number, today=self.today)
        except RehabError:
            # A child that cannot be planned is still reminded.
            return fresh
        same = (fresh.kind, fresh.state, fresh.on, fresh.session, fresh.starts_minute)
        found = (e for e in entries if (e.kind, e.state, e.on, e.session, e.starts_minute) == same)
        return next(found, fresh)


def _writer(desk: Desk, cases: Sequence[Case], today: date, until: date) -> _Writer:
    """Children are named where a family could mistake which one it is."""
    families = Counter(child.family for child in desk.store.children() if child.family)
    reached = Counter(way for case in cases for way in consented(case))
    named = frozenset(
        case.child.number
        for case in cases
        if families[case.child.family] > 1 or any(reached[way] > 1 for way in consented(case))
    )
    sites = session_sites(desk.diary, desk.settings.clinic, today, until)
    return _Writer(desk, today, sites, named)


def send_waiting(
    desk: Desk, sender: Sender, *, ways: Sequence[Way], today: date, at: datetime
) -> Iterator[Message]:
    """Sends what waits and still holds, and tells of each message what became of it.

    Raises SendError where no other message could be sent either, or where nobody knows.
    """
    with desk.store.transaction() as tx:
        waiting = tx.outbox.messages([MessageState.WAITING])
    for seen in waiting:
        if seen.way in ways and seen.way in sender.ways:
            claimed = _claim(desk, seen, today, at)
            if claimed is None:
                continue
            if claimed.state is MessageState.SENDING:
                claimed = _send(desk, sender, claimed, at)
            yield claimed


def _claim(desk: Desk, seen: Message, today: date, at: datetime) -> Message | None:
    """The message, now `sending` or, if it no longer holds, cancelled; None if another took it."""
    with desk.store.transaction() as tx:
        problem = _why_not(tx, desk, seen, today)
        state = MessageState.CANCELLED if problem else MessageState.SENDING
        if not tx.outbox.change(seen, state, at, problem):
            return None
    return replace(seen, state=state, problem=problem, changed_at=at)


def _why_not(tx: Transaction, desk: Desk, message: Message, today: date) -> str:
    try:
        case = tx.case(message.child_number)
    except RecordError:
        return "the child is no longer recorded"
    found = why_not(message, case, today, desk.settings.clinic.reminder_days)
    if found:
        return found
    booked = next(a for a in case.appointments if a.id == message.appointment)
    return why_not_kept(tx.diary(), desk.settings.clinic, booked)


def _send(desk: Desk, sender: Sender, claimed: Message, at: datetime) -> Message:
    try:
        sender.send(claimed)
    except SendError as error:
        after = replace(claimed, state=AFTER_AN_ERROR[error.meaning], problem=error.what)
        _note(desk, claimed, after, at)
        if error.meaning in (NotSent.NONE_NOW, NotSent.UNKNOWN):
            raise
        return after
    after = replace(claimed, state=MessageState.SENT)
    _note(desk, claimed, after, at)
    return after


def _note(desk: Desk, before: Message, after: Message, at: datetime) -> None:
    with desk.store.transaction() as tx:
        tx.outbox.change(before, after.state, at, after.problem)


def settle(desk: Desk, begins: str, state: MessageState, stamp: Stamp) -> Message:
    """What a person found out of a message of which nobody knew, or that failed."""
    with desk.store.transaction() as tx:
        message = tx.outbox.message(begins)
        if message.state not in OPEN_QUESTIONS:
            raise RecordError(
                f"this message is {message.state}: nothing about it is open.",
                where=message.name,
                do="Look at it with: rehab reminder list",
            )
        said = f"{state} according to {stamp.by}" + (f": {stamp.reason}" if stamp.reason else "")
        tx.outbox.change(message, state, stamp.at, said)
    return replace(message, state=state, problem=said, changed_at=stamp.at)


def _plain(text: str) -> str:
    return " ".join(text.split())
