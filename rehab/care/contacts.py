"""How a family is reached: contacts, consent, what it has stated it can do, and every try."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class Consent(StrEnum):
    """Whether a family agreed to be written to in this way; unknown is not a yes."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


class Way(StrEnum):
    """How somebody tried to reach a family, or what was done to trace it."""

    PHONE = "phone call"
    TEXT = "text message"
    EMAIL = "e-mail"
    LETTER = "letter"
    COMMUNITY_WORKER = "community worker"
    IN_PERSON = "in person"
    SAFEGUARDING = "safeguarding question"


class TryOutcome(StrEnum):
    """What came of a try to reach a family."""

    REACHED = "reached"
    MESSAGE_LEFT = "message left"
    NO_ANSWER = "no answer"
    WRONG_NUMBER = "wrong number"
    SENT = "sent"
    RETURNED = "returned"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class Contact:
    """One person who answers for the child. `phone` is how it is dialled, "" when not known."""

    id: str
    name: str
    relation: str = ""
    phone: str = ""
    email: str = ""
    address: str = ""
    text_consent: Consent = Consent.UNKNOWN
    email_consent: Consent = Consent.UNKNOWN


@dataclass(frozen=True, slots=True)
class Limits:
    """What the family has stated; what it has not stated limits nothing.

    `weekdays` (0 is Monday) are the days on which it can come, none meaning any;
    `not_before_minute` counts from midnight where the clinic is; `distances_km` holds how far each
    site is from home. With `farthest_km`, a site whose distance is not recorded is not known to be
    near.
    """

    id: str = ""
    weekdays: tuple[int, ...] = ()
    not_before_minute: int | None = None
    farthest_km: int | None = None
    distances_km: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class ContactTry:
    """One try to reach the family; `next_try` brings it back on the recall list on that day."""

    id: str
    on: date
    way: Way
    outcome: TryOutcome
    next_try: date | None = None
    note: str = ""
