"""What a person must settle before a plan is whole: a referral, a decision, a shut clinic."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from rehab.care.case import Eye
from rehab.rules.protocol import Answer, Because


class ProblemKind(StrEnum):
    REFER = "a clinician decides"
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


def referral(answer: Answer, eye: Eye | None, on: date) -> Problem:
    """The task that a refer row leaves to a person, as asked for the day `on`."""
    return Problem(
        ProblemKind.REFER,
        answer.because.decision,
        answer.why,
        f"A clinician decides and records it (asked for {on}).",
        eye,
        answer.because,
    )
