"""Messages that remind a family of an appointment, and what became of each."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from rehab.care.contacts import Way


class MessageState(StrEnum):
    """`sending` that lasts means that nobody knows whether it went out: a person must look."""

    WAITING = "waiting"
    SENDING = "sending"
    SENT = "sent"
    FAILED = "failed"
    CANCELLED = "cancelled"


@dataclass(frozen=True, slots=True)
class Message:
    """One message to one address about one appointment, `days_before` it.

    The uid follows from these, so that it can never be written twice. `calendar` is the calendar
    file that goes with it. `changed_at` is when it came into its state.
    """

    uid: str
    child_number: str
    appointment: str
    appointment_on: date
    days_before: int
    way: Way
    address: str
    subject: str
    text: str
    calendar: str
    state: MessageState = MessageState.WAITING
    problem: str = ""
    changed_at: datetime | None = None

    @property
    def name(self) -> str:
        """The uid as a name for files and as people type it."""
        return self.uid.partition("@")[0]
