"""A proposal as it is kept: what was proposed, on which rows and findings, and its fate."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from rehab.care.case import Eye
from rehab.rules.protocol import Because

START = "start"


class Decision(StrEnum):
    """What a person made of a proposal; superseded means that newer facts gave another."""

    OPEN = "proposed"
    ACCEPTED = "accepted"
    CHANGED = "changed"
    DECLINED = "declined"
    SUPERSEDED = "superseded"


@dataclass(frozen=True, slots=True)
class KeptProposal:
    """`action` is the word of an Action, or START for the first hours by age.

    `on` is the day of the look that it rests on, `regimen` the one it would change (none at the
    start), `found` says in words what was seen. `minutes_per_day` None means as the regimen says
    or by age; `words` are those of the person who decided.
    """

    id: str
    on: date
    regimen: str
    action: str
    occluded_eye: Eye
    minutes_per_day: int | None
    days_per_week: int
    starts: date
    review_on: date | None
    to_decide: str = ""
    cautions: tuple[str, ...] = ()
    found: tuple[str, ...] = ()
    because: tuple[Because, ...] = ()
    decision: Decision = Decision.OPEN
    words: str = ""

    @property
    def rows(self) -> tuple[str, ...]:
        return tuple(f"{because.decision}/{because.row}" for because in self.because)
