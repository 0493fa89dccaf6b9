"""The plan of one child: checks, visits, occlusion and what a person must settle."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from rehab.care.alarm import SAFETY, occlusion_alarm
from rehab.care.case import Case, CheckKind, Child, Outcome
from rehab.care.checks import Check, Horizon, due_checks
from rehab.care.diary import Session
from rehab.care.eye_forecast import shift_flags
from rehab.care.facts import known_on
from rehab.care.flags import Flag, flags
from rehab.care.list_visits import plan_visits_and_lists
from rehab.care.occlusion import Span, occlusion
from rehab.care.problems import Problem, ProblemKind
from rehab.care.visits import Visit
from rehab.rules.protocol import Protocol


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
    flags: tuple[Flag, ...] = ()


def make_plan(
    case: Case,
    protocol: Protocol,
    *,
    today: date,
    horizon: date,
    open_days: Sequence[date],
    lists: Sequence[Session] = (),
) -> Plan:
    """What should happen to this child from `today` to before `horizon`.

    `open_days` are the days on which the clinic is open, in order; `lists` are the sessions under
    anaesthesia. A child whose care here has ended has an empty plan.
    """
    if case.ending is not None and case.ending.on <= today:
        return Plan(case.child, today, horizon, (), (), (), ())
    known = known_on(case, today)
    checks, referrals = due_checks(known, protocol, Horizon(today, horizon))
    spans, decisions = occlusion(known, protocol, today, horizon)
    booked = {
        a.on: a
        for a in known.appointments
        if a.outcome is Outcome.BOOKED and today <= a.on < horizon
    }
    visits, shut_out = plan_visits_and_lists(
        checks, today=today, open_days=open_days, booked=booked, lists=lists
    )
    visits = tuple(replace(visit, appointment=booked.get(visit.on)) for visit in visits)
    problems = (*referrals, *decisions, *(_shut(check, today) for check in shut_out))
    alarm = occlusion_alarm(known, protocol, today)
    raised = (
        *((alarm,) if alarm else ()),
        *flags(known, protocol, today),
        *shift_flags(known, protocol, today),
    )
    return Plan(case.child, today, horizon, checks, visits, spans, problems, raised)


def _shut(check: Check, today: date) -> Problem:
    return Problem(
        ProblemKind.SHUT,
        check.kind,
        f"No clinic day is left between {max(check.earliest, today)} and {check.by}.",
        "See the child on the next day possible, or let a clinician agree on another.",
        check.eye,
        check.because,
    )


def next_check(plan: Plan, kind: CheckKind) -> Check | None:
    """The first check of `kind` that is not yet settled."""
    return min((c for c in plan.checks if c.kind is kind), key=lambda c: c.by, default=None)


def agreed_occlusion(plan: Plan) -> tuple[Span, ...]:
    """The accepted spans, cut at the last good day of the next occlusion review.

    Hours beyond that day are what the table expects, not what a person has agreed after looking:
    families get them with the next review, so that occlusion never runs on unwatched. An overdue
    review has ended them already, and so has an alarm that nobody has answered.
    """
    review = next_check(plan, CheckKind.OCCLUSION)
    # Where nobody and no table says when to look, a person must first.
    silent = any(problem.about == CheckKind.OCCLUSION for problem in plan.problems)
    end = plan.today if silent else plan.horizon
    if review:
        end = review.latest + timedelta(days=1)
    alarms = [flag.on for flag in plan.flags if flag.because.decision == SAFETY]
    end = min((end, *alarms))
    return tuple(
        replace(span, until=min(span.until, end))
        for span in plan.occlusion
        if span.accepted and span.start < end
    )
