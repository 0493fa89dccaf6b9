"""The recall list: the children whom someone must contact, why, and the most urgent first."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from rehab.care.case import Appointment, Case, Child, Outcome
from rehab.care.checks import NOT_OPERATED, Status
from rehab.care.flags import Urgency
from rehab.care.plan import Plan
from rehab.care.problems import ProblemKind
from rehab.errors import RehabError
from rehab.rules.protocol import Because, Protocol

URGENCY = "recall_urgency"
# An open flag is never less urgent than it says.
_FLAGGED = {Urgency.TODAY: 1, Urgency.THIS_WEEK: 2}
CONTACT = {1: "TODAY", 2: "this week", 3: "before the window closes"}


@dataclass(frozen=True, slots=True)
class Recall:
    """One family; `urgency` 1 is today, `come_by` the last good day of the next visit."""

    child: Child
    urgency: int
    reasons: tuple[str, ...]
    come_by: date | None
    times_not_brought: int
    days_overdue: int
    because: Because | None


def recall_list(
    cases: Iterable[tuple[Case, Plan | RehabError]], protocol: Protocol, *, today: date, by: date
) -> tuple[Recall, ...]:
    """Each child once. `by` is the last day to look ahead to for windows that close unbooked."""
    lines = (_line(case, plan, protocol, today, by) for case, plan in cases)
    return tuple(
        sorted(
            (line for line in lines if line is not None),
            key=lambda r: (
                r.urgency,
                -r.times_not_brought,
                r.come_by or date.max,
                -r.days_overdue,
                r.child.number,
            ),
        )
    )


def not_brought_since_attended(case: Case, today: date) -> tuple[Appointment, ...]:
    """The appointments missed since the child last came."""
    missed: list[Appointment] = []
    for appointment in case.appointments:
        if appointment.on > today:
            continue
        if appointment.outcome is Outcome.ATTENDED:
            missed.clear()
        elif appointment.outcome is Outcome.WAS_NOT_BROUGHT:
            missed.append(appointment)
    seen = [e.on for e in case.examinations if e.on <= today]
    return tuple(m for m in missed if not seen or m.on > seen[-1])


def _line(
    case: Case, plan: Plan | RehabError, protocol: Protocol, today: date, by: date
) -> Recall | None:
    """One child must not keep the others off the list: a plan that cannot be made is told."""
    try:
        if isinstance(plan, RehabError):
            raise plan
        return _recall(case, plan, protocol, today, by)
    except RehabError as error:
        return Recall(case.child, 1, (f"no plan can be made: {error}",), None, 0, 0, None)


def _recall(case: Case, plan: Plan, protocol: Protocol, today: date, by: date) -> Recall | None:
    if case.ending is not None and case.ending.on <= today:
        return None
    missed = not_brought_since_attended(case, today)
    late = [check for check in plan.checks if check.status is Status.OVERDUE]
    reasons = tuple(_reasons(case, plan, missed, today, by))
    if not reasons:
        return None
    unbooked = [visit for visit in plan.visits if not visit.booked and visit.checks]
    days_overdue = max(((today - check.latest).days for check in late), default=0)
    operated = case.surgeries and case.surgeries[-1].on <= today
    answer = protocol.ask(
        URGENCY,
        today,
        {
            "days_since_surgery": (today - case.surgeries[-1].on).days
            if operated
            else NOT_OPERATED,
            "days_overdue": days_overdue,
            "times_not_brought": len(missed),
            "days_left": (unbooked[0].latest - today).days if unbooked else "no visit",
        },
    )
    open_flags = [_FLAGGED[f.urgency] for f in plan.flags if f.urgency in _FLAGGED]
    return Recall(
        case.child,
        min([answer.number("urgency"), *open_flags]),
        reasons,
        unbooked[0].latest if unbooked else None,
        len(missed),
        days_overdue,
        answer.because,
    )


def _reasons(
    case: Case, plan: Plan, missed: tuple[Appointment, ...], today: date, by: date
) -> Iterator[str]:
    yield from (flag.sentence for flag in plan.flags if flag.urgency in _FLAGGED)
    booked = [a.on for a in case.appointments if a.outcome is Outcome.BOOKED and a.on >= today]
    if missed and not booked:
        days = ", ".join(str(m.on) for m in missed)
        yield f"was not brought ({days})"
    covered = {check.key for visit in plan.visits if visit.booked for check in visit.checks}
    late = [c for c in plan.checks if c.status is Status.OVERDUE and c.key not in covered]
    if late:
        oldest = min(late, key=lambda c: c.latest)
        kinds = ", ".join(dict.fromkeys(c.kind.replace("_", " ") for c in late))
        yield f"overdue since {oldest.latest}: {kinds}"
    unsettled = [
        str(a.on) for a in case.appointments if a.outcome is Outcome.BOOKED and a.on < today
    ]
    if unsettled:
        yield f"what became of the appointment is not recorded ({', '.join(unsettled)})"
    closing = [v for v in plan.visits if not v.booked and v.latest <= by and v.checks]
    if closing and not late:
        yield f"visit due by {closing[0].latest}, not booked"
    for problem in plan.problems:
        if problem.kind is ProblemKind.SHUT:
            yield f"no clinic day for {problem.about.replace('_', ' ')}: {problem.what}"
    if not plan.visits and not booked:
        yield "no visit ahead, and no ending recorded"
