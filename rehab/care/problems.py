"""What a person must settle before a plan is whole: a referral, a missing fact, a day that is shut."""

from dataclasses import dataclass
from enum import StrEnum

from rehab.care.case import Eye
from rehab.rules.protocol import Because


class ProblemKind(StrEnum):
    REFER = "a clinician decides"
    MISSING = "missing fact"
    CONTRADICTION = "contradictory facts"
    SHUT = "no open day"
    DECIDE = "a decision waits"


@dataclass(frozen=True, slots=True)
class Problem:
    """`about` is the decision or record concerned; `what` is a sentence, `do` the next step."""

    kind: ProblemKind
    about: str
    what: str
    do: str
    eye: Eye | None = None
    because: Because | None = None
