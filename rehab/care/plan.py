"""The plan of one child: checks, visits, occlusion and what a person must settle."""

from dataclasses import dataclass, replace
from datetime import date, timedelta

from rehab.care.case import CheckKind, Child
from rehab.care.checks import Check
from rehab.care.occlusion import Span
from rehab.care.problems import Problem
from rehab.care.visits import Visit


@dataclass(frozen=True, slots=True)
class Plan:
    """`horizon` is the first day that the plan no longer looks at."""

    child: Child
    today: date
    horizon: date
    checks: tuple[Check, ...]
    visits: tuple[Visit, ...]
    occlusion: tuple[Span, ...]
    problems: tuple[Problem, ...]


def next_check(plan: Plan, kind: CheckKind) -> Check | None:
    """The first check of `kind` that is not yet settled."""
    return min((c for c in plan.checks if c.kind is kind), key=lambda c: c.by, default=None)


def agreed_occlusion(plan: Plan) -> tuple[Span, ...]:
    """The accepted spans, cut at the last good day of the next occlusion review.

    Hours beyond that day are what the table expects, not what a person has agreed after looking:
    families get them with the next review, so that occlusion never runs on unwatched.
    """
    review = next_check(plan, CheckKind.OCCLUSION)
    end = review.by + timedelta(days=1) if review else plan.horizon
    return tuple(
        replace(span, until=min(span.until, end))
        for span in plan.occlusion
        if span.accepted and span.start < end
    )
