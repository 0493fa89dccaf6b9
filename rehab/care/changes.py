"""What changed since the last plan: each calendar entry kept, moved, added or withdrawn, and why."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class EntryKind(StrEnum):
    VISIT = "visit"
    APPOINTMENT = "appointment"
    OCCLUSION = "occlusion"


class EntryState(StrEnum):
    LIVE = "live"
    SETTLED = "settled"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True)
class Entry:
    """One event in a family's calendar, with the identity it keeps for its whole life.

    Days from `start` to before `until`; `on` is the proposed or booked day of a visit, the first
    day of occlusion. `checks` are the keys of the checks it settles (empty for occlusion).
    `changed_on` is the day its content last changed, `sequence` how often it has.
    """

    uid: str
    sequence: int
    changed_on: date
    kind: EntryKind
    state: EntryState
    start: date
    until: date
    on: date
    checks: tuple[str, ...] = ()
    eye: str = ""
    minutes_per_day: int = 0
    days_per_week: int = 0
