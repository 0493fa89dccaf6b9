"""The outbox: messages that wait are sent, each once.

A message is claimed before it is sent. Whatever ends the work in between leaves it as one of
which nobody knows, which is never sent again unless a person says so.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from rehab.care.contacts import Way
from rehab.care.messages import Message, MessageState
from rehab.care.reminding import why_not
from rehab.clinic_days import with_closed_days
from rehab.errors import NotSent, RecordError, SendError
from rehab.senders import Sender
from rehab.session_dates import why_shut
from rehab.settings import Clinic
from rehab.store.store import Stamp, Store, Transaction

AFTER_AN_ERROR = {
    NotSent.REFUSED: MessageState.FAILED,
    NotSent.LATER: MessageState.WAITING,
    NotSent.NONE_NOW: MessageState.WAITING,
    NotSent.UNKNOWN: MessageState.SENDING,
}
OPEN_QUESTIONS = (MessageState.SENDING, MessageState.FAILED)
# Longer than any sender tries, so that none is still at it when a message is given free again.
SURELY_OVER = timedelta(minutes=10)
ANSWERS = (MessageState.SENT, MessageState.FAILED, MessageState.WAITING)


@dataclass(frozen=True, slots=True)
class Office:
    """A clinic's messages as they are sent on one day; `now` tells the moment of each change."""

    store: Store
    clinic: Clinic
    today: date
    now: Callable[[], datetime]


def send_waiting(office: Office, sender: Sender, ways: Sequence[Way]) -> Iterator[Message]:
    """Sends what waits and still holds, and tells of each message what became of it.

    Raises SendError where no other message could be sent either, or where nobody knows.
    """
    with office.store.transaction() as tx:
        waiting = tx.outbox.messages([MessageState.WAITING])
    for seen in waiting:
        if seen.way in ways and seen.way in sender.ways:
            claimed = _claim(office, seen)
            if claimed is None:
                continue
            if claimed.state is MessageState.SENDING:
                claimed = _send(office, sender, claimed)
            yield claimed


def _claim(office: Office, seen: Message) -> Message | None:
    """The message, now `sending` or, if it no longer holds, cancelled; None if another took it."""
    at = office.now()
    with office.store.transaction() as tx:
        problem = _why_not(tx, office, seen)
        state = MessageState.CANCELLED if problem else MessageState.SENDING
        if not tx.outbox.change(seen, state, at, problem):
            return None
    return replace(seen, state=state, problem=problem, changed_at=at)


def _why_not(tx: Transaction, office: Office, message: Message) -> str:
    try:
        case = tx.case(message.child_number)
    except RecordError:
        return "the child is no longer recorded"
    found = why_not(message, case, office.today, office.clinic.reminder_days)
    if found:
        return found
    booked = next(a for a in case.appointments if a.id == message.appointment)
    return why_shut(with_closed_days(tx.diary(), office.clinic), booked)


def _send(office: Office, sender: Sender, claimed: Message) -> Message:
    try:
        sender.send(claimed)
    except SendError as error:
        after = replace(claimed, state=AFTER_AN_ERROR[error.meaning], problem=error.what)
        _note(office, claimed, after)
        if error.meaning in (NotSent.NONE_NOW, NotSent.UNKNOWN):
            raise
        return after
    after = replace(claimed, state=MessageState.SENT)
    _note(office, claimed, after)
    return after


def _note(office: Office, before: Message, after: Message) -> None:
    with office.store.transaction() as tx:
        tx.outbox.change(before, after.state, office.now(), after.problem)


def settle(store: Store, begins: str, state: MessageState, stamp: Stamp) -> Message:
    """What a person found out of a message of which nobody knew, or that failed."""
    with store.transaction() as tx:
        message = tx.outbox.message(begins)
        if message.state not in OPEN_QUESTIONS:
            raise RecordError(
                f"this message is {message.state}: nothing about it is open.",
                where=message.name,
                do="Look at it with: rehab reminder list",
            )
        sending = message.state is MessageState.SENDING and state is MessageState.WAITING
        if sending and message.changed_at and stamp.at < message.changed_at + SURELY_OVER:
            raise RecordError(
                "this message may be on its way just now.",
                where=message.name,
                do=f"Wait {SURELY_OVER // timedelta(minutes=1)} minutes, and look again.",
            )
        said = f"{state} according to {stamp.by}" + (f": {stamp.reason}" if stamp.reason else "")
        tx.outbox.change(message, state, stamp.at, said)
    return replace(message, state=state, problem=said, changed_at=stamp.at)
