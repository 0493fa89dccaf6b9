"""Due checks: for each check of each eye, the windows that follow from its anchor."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from rehab.care.case import CheckKind, Eye
from rehab.rules.protocol import Because


class Status(StrEnum):
    """Where today stands to a check's window."""

    OVERDUE = "overdue"
    DUE = "due"
    PLANNED = "planned"


@dataclass(frozen=True, slots=True)
class Check:
    """A window in which one check of one eye falls due. `latest` is its last good day (inclusive).

    `ordinal` counts the checks of its series from the anchor, so that `key` stays the same when
    the dates move. `by` is the last day to settle it now: `latest`, or for an overdue check the
    end of its catch-up time.
    """

    kind: CheckKind
    eye: Eye
    ordinal: int
    earliest: date
    target: date
    latest: date
    by: date
    status: Status
    because: Because

    @property
    def key(self) -> str:
        return f"{self.kind}/{self.eye}/{self.ordinal}"
