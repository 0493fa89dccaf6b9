"""Which reminders are due today, to whom, and whether one that was written still holds."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from rehab.care.case import Appointment, Case, Outcome
from rehab.care.changes import derived_uid
from rehab.care.contacts import Consent, TryOutcome, Way
from rehab.care.messages import Message

# 3GPP TS 23.038 (from memory): a text of these alone needs seven bits a character, those of the
# second row two characters each; any other turns the whole text into sixteen bits a character.
SEVEN_BITS = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
TWICE_SEVEN_BITS = frozenset("^{}\\[~]|€")


@dataclass(frozen=True, slots=True)
class Reminder:
    """One message that is due; it is the same one as long as day, time and place are the same."""

    child_number: str
    appointment: Appointment
    days_before: int
    way: Way
    address: str

    @property
    def uid(self) -> str:
        booked = self.appointment
        when = (booked.on.isoformat(), str(booked.starts_minute), booked.session)
        to = mailbox(self.way, self.address)
        return derived_uid("reminder", booked.id, *when, str(self.days_before), *to)


def due_days(on: date, today: date, reminder_days: Sequence[int]) -> int | None:
    """Which of the reminders of an appointment on `on` is the one to send today.

    One whose day was missed is due late until the next one's day, so that there are never two on
    one day; on the day itself and after it none is.
    """
    ahead = (on - today).days
    return (
        min((days for days in reminder_days if days >= ahead), default=None) if ahead > 0 else None
    )


def last_day(today: date, reminder_days: Sequence[int]) -> date:
    """The last day of which anybody is reminded today."""
    return today + timedelta(days=max(reminder_days, default=0))


def due_appointments(
    case: Case, today: date, reminder_days: Sequence[int]
) -> tuple[tuple[Appointment, int], ...]:
    """The appointments that families must be reminded of today, each with which reminder."""
    return tuple(
        (appointment, days)
        for appointment in case.appointments
        if appointment.outcome is Outcome.BOOKED
        and not _has_ended(case, appointment)
        and (days := due_days(appointment.on, today, reminder_days)) is not None
    )


def consented(case: Case) -> tuple[tuple[Way, str], ...]:
    """The ways in which this family agreed to be written to, each address once.

    Where one person agreed and another said no to the same address, the no counts.
    """
    first: dict[tuple[str, str], tuple[Way, str]] = {}
    refused = set()
    for way, address, consent in _addresses(case):
        if consent is Consent.YES:
            first.setdefault(mailbox(way, address), (way, address))
        elif consent is Consent.NO:
            refused.add(mailbox(way, address))
    return tuple(to for box, to in first.items() if box[1] and box not in refused)


def mailbox(way: Way, address: str) -> tuple[str, str]:
    """What an address reaches, however it is written; "" of a number that holds no digit."""
    if way is Way.TEXT:
        digits = "".join(c for c in address if c.isdecimal())
        return way.value, f"+{digits}" if digits and address.startswith("+") else digits
    return way.value, address.casefold()


def _addresses(case: Case) -> Iterator[tuple[Way, str, Consent]]:
    for contact in case.contacts:
        yield Way.TEXT, contact.phone.strip(), contact.text_consent
        yield Way.EMAIL, contact.email.strip(), contact.email_consent


def reminders(case: Case, today: date, reminder_days: Sequence[int]) -> tuple[Reminder, ...]:
    """The messages that are due today, whatever has been written before."""
    return tuple(
        Reminder(case.child.number, appointment, days, way, address)
        for appointment, days in due_appointments(case, today, reminder_days)
        for way, address in consented(case)
    )


def why_not(message: Message, case: Case, today: date, reminder_days: Sequence[int]) -> str:
    """Why a message that was written must not go out any more; "" when it still holds."""
    booked = {a.id: a for a in case.appointments}.get(message.appointment)
    if booked is None or booked.outcome is not Outcome.BOOKED:
        return "the appointment is no longer booked"
    if _has_ended(case, booked):
        return "care here has ended"
    reminder = Reminder(
        case.child.number, booked, message.days_before, message.way, message.address
    )
    if reminder.uid != message.uid:
        return "the appointment was moved"
    agreed = {mailbox(*to) for to in consented(case)}
    if mailbox(message.way, message.address) not in agreed:
        return "the family no longer agrees to be written to here"
    due = due_days(booked.on, today, reminder_days)
    if due is None:
        return "its time has passed" if booked.on <= today else "it is not due yet"
    return "" if due == message.days_before else "another reminder has taken its place"


def is_rung(case: Case, since: date) -> bool:
    """Whether somebody has spoken with the family from `since` on."""
    return any(t.on >= since and t.outcome is TryOutcome.REACHED for t in case.tries)


def first_day(on: date, reminder_days: Sequence[int]) -> date:
    """The first day on which a family is reminded of an appointment on `on`."""
    return on - timedelta(days=max(reminder_days, default=0))


def segments(text: str) -> int:
    """How many parts a text message is sent, and paid for, in."""
    if set(text) <= SEVEN_BITS | TWICE_SEVEN_BITS:
        length, alone, joined = len(text) + sum(c in TWICE_SEVEN_BITS for c in text), 160, 153
    else:
        length, alone, joined = len(text.encode("utf-16-le")) // 2, 70, 67
    return 1 if length <= alone else -(-length // joined)


def _has_ended(case: Case, appointment: Appointment) -> bool:
    return case.ending is not None and case.ending.on <= appointment.on
