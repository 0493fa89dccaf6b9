"""Why a family must be contacted: each reason as a sentence in plain words, with its dates."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from rehab.care.case import Appointment, Case, CheckKind, Outcome
from rehab.care.checks import Check, Status
from rehab.care.contacts import ContactTry, TryOutcome, Way
from rehab.care.flags import Flag, Urgency
from rehab.care.plan import Plan
from rehab.care.problems import ProblemKind
from rehab.care.tracing import (
    Step,
    TracingStep,
    booked_ahead,
    last_seen,
    loop_closed,
    missed_since_seen,
    new_date,
    tracing_steps,
    untold,
)
from rehab.care.visits import Visit
from rehab.measures.clock import clock
from rehab.rules.protocol import Protocol

WhyShut = Callable[[Appointment], str]
# Which of the checks that a booked visit should settle its session does not offer, in words.
NotOffered = Callable[[Appointment, frozenset[CheckKind]], str]

NOTHING: frozenset[CheckKind] = frozenset()


class ReasonKind(StrEnum):
    URGENT_FLAG = "urgent flag"
    NOT_BROUGHT = "was not brought"
    TRACING = "tracing step due"
    NOT_TOLD = "new date not told"
    CANCELLED_UNTOLD = "cancellation not told"
    LETTER_RETURNED = "letter returned"
    NO_CONTACT = "no contact possible"
    SHUT_DAY = "clinic shut on the booked day"
    NOT_OFFERED = "checks not offered"
    NO_OUTCOME = "outcome not recorded"
    OVERDUE = "overdue"
    CLOSING = "window closing"
    NO_CLINIC_DAY = "no clinic day"
    NEXT_TRY_DUE = "next try due"
    NEXT_TRY_AHEAD = "next try ahead"
    NO_APPOINTMENT = "no appointment ahead"
    NO_PLAN = "no plan can be made"


@dataclass(frozen=True, slots=True)
class Reason:
    kind: ReasonKind
    sentence: str


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a child stands today, as far as somebody must contact the family.

    `last_try` counts only while the child was not seen after it; `late` are the overdue checks
    that no booked visit brings in.
    """

    case: Case
    plan: Plan
    today: date
    missed: tuple[Appointment, ...]
    booked: tuple[Appointment, ...]
    shut: tuple[tuple[Appointment, str], ...]
    not_offered: tuple[tuple[Appointment, str], ...]
    untold: tuple[Appointment, ...]
    unsettled: tuple[Appointment, ...]
    steps_due: tuple[Step, ...]
    flags: tuple[Flag, ...]
    late: tuple[Check, ...]
    unbooked: tuple[Visit, ...]
    last_try: ContactTry | None


def standing_of(
    case: Case,
    plan: Plan,
    protocol: Protocol,
    today: date,
    why_shut: WhyShut,
    not_offered: NotOffered,
) -> Standing:
    seen = last_seen(case, today) or date.min
    booked = booked_ahead(case, today)
    covered = {check.key for visit in plan.visits if visit.booked for check in visit.checks}
    settles = {visit.appointment.id: visit.kinds for visit in plan.visits if visit.appointment}
    tries = [t for t in case.tries if seen <= t.on <= today]
    steps = tracing_steps(case, protocol, today)
    return Standing(
        case,
        plan,
        today,
        missed_since_seen(case, today),
        booked,
        tuple((a, why) for a in booked if (why := why_shut(a))),
        tuple((a, what) for a in booked if (what := not_offered(a, settles.get(a.id, NOTHING)))),
        untold(case, today),
        tuple(a for a in case.appointments if a.outcome is Outcome.BOOKED and seen < a.on < today),
        tuple(step for step in steps if step.done is None and step.due_on <= today),
        tuple(flag for flag in plan.flags if flag.urgency is not Urgency.NEXT_VISIT),
        tuple(c for c in plan.checks if c.status is Status.OVERDUE and c.key not in covered),
        tuple(visit for visit in plan.visits if not visit.booked and visit.checks),
        tries[-1] if tries else None,
    )


def reasons(standing: Standing, by: date) -> tuple[Reason, ...]:
    """What calls for a person first, then what is late, then what only wants booking.

    Nobody's reasons end while no appointment lies ahead: then at least that is said.
    """
    found = (
        *(Reason(ReasonKind.URGENT_FLAG, flag.sentence) for flag in standing.flags),
        *_next_try(standing),
        *_missed(standing),
        *_untold(standing),
        *_unreached(standing),
        *(
            Reason(ReasonKind.SHUT_DAY, f"clinic shut on the booked day {a.on}: {why}")
            for a, why in standing.shut
        ),
        *(
            Reason(
                ReasonKind.NOT_OFFERED,
                f"the session booked on {a.on} does not offer {what}: move it, or book that too",
            )
            for a, what in standing.not_offered
        ),
        *_unsettled(standing),
        *_late(standing, by),
        *_no_clinic_day(standing),
    )
    told = {reason.kind for reason in found}
    explained = {ReasonKind.OVERDUE, ReasonKind.CLOSING, ReasonKind.NOT_BROUGHT}
    if not standing.booked and not told & explained:
        found = (*found, _no_appointment(standing))
    return (*found, *_without_address(standing)) if found else ()


def waits_until(standing: Standing, wait_days: int) -> date | None:
    """Until when the next try holds the family back; None when it does not.

    Until its day, but for `wait_days` from the day of the last try at most; not at all when an
    urgent flag is open, something happened since that try, a booked day on which the clinic is
    shut comes first, or the last good day of the next visit would pass.
    """
    tried = standing.last_try
    if tried is None or tried.next_try is None or tried.next_try <= standing.today:
        return None
    until = min(tried.next_try, tried.on + timedelta(days=wait_days))
    happened = [a.on for a in (*standing.missed, *standing.unsettled)]
    happened += [step.due_on for step in standing.steps_due]
    overtaken = any(day > tried.on for day in happened)
    happened += [a.arranged_on for a in standing.untold if a.arranged_on]
    ends = [a.on for a, _ in standing.shut] + [v.latest for v in standing.unbooked[:1]]
    too_late = any(day < tried.next_try for day in ends)
    too_late |= any(a.on <= tried.next_try for a in standing.untold)
    if standing.flags or until <= standing.today or overtaken or too_late:
        return None
    return until


def _next_try(standing: Standing) -> Iterator[Reason]:
    tried = standing.last_try
    if tried is None or tried.next_try is None:
        return
    due = tried.next_try <= standing.today
    kind = ReasonKind.NEXT_TRY_DUE if due else ReasonKind.NEXT_TRY_AHEAD
    yield Reason(
        kind,
        f"next try {'due ' if due else ''}{tried.next_try} ({tried.way} {tried.on}: "
        f"{tried.outcome})",
    )


def _missed(standing: Standing) -> Iterator[Reason]:
    case, today = standing.case, standing.today
    if standing.missed and not loop_closed(case, today):
        days = ", ".join(str(a.on) for a in standing.missed)
        ahead = new_date(case, standing.missed[-1].on, today)
        if ahead is None:
            yield Reason(ReasonKind.NOT_BROUGHT, f"was not brought ({days})")
        else:
            yield Reason(
                ReasonKind.NOT_TOLD,
                f"new date {ahead.on}{arranged_at(ahead)} not yet told to the family; "
                f"was not brought ({days})",
            )
    if standing.steps_due:
        due = sorted(standing.steps_due, key=lambda step: step.due_on)
        steps = ", ".join(f"{asked(step.step)} due {step.due_on}" for step in due)
        yield Reason(ReasonKind.TRACING, steps)


def _untold(standing: Standing) -> Iterator[Reason]:
    """A new date after a missed one, and a day on which the clinic is shut, are told of as such."""
    said = {a.id for a, _ in standing.shut}
    if standing.missed:
        ahead = new_date(standing.case, standing.missed[-1].on, standing.today)
        said |= {ahead.id} if ahead else set()
    for a in standing.untold:
        if a.outcome is Outcome.CANCELLED_BY_CLINIC:
            yield Reason(
                ReasonKind.CANCELLED_UNTOLD,
                f"appointment {a.on} cancelled by the clinic: tell the family not to come",
            )
        elif a.id not in said:
            yield Reason(
                ReasonKind.NOT_TOLD,
                f"appointment {a.on}{arranged_at(a)} not yet told to the family",
            )


def arranged_at(appointment: Appointment) -> str:
    """Hour and session, for whoever tells the family."""
    if appointment.starts_minute is None:
        return ""
    code = appointment.session.rpartition("/")[0]
    return f" at {clock(appointment.starts_minute)}" + (f" ({code})" if code else "")


def days_ahead(standing: Standing, kind: ReasonKind) -> int | None:
    """How many days are left to the first appointment that this reason is about."""
    about: Iterable[Appointment] = ()
    if kind is ReasonKind.SHUT_DAY:
        about = (a for a, _ in standing.shut)
    elif kind is ReasonKind.NOT_OFFERED:
        about = (a for a, _ in standing.not_offered)
    elif kind in (ReasonKind.NOT_TOLD, ReasonKind.CANCELLED_UNTOLD):
        wanted = Outcome.BOOKED if kind is ReasonKind.NOT_TOLD else Outcome.CANCELLED_BY_CLINIC
        about = (a for a in standing.untold if a.outcome is wanted)
        if kind is ReasonKind.NOT_TOLD and standing.missed:
            about = (*about, *standing.booked)
    return min(((a.on - standing.today).days for a in about), default=None)


def asked(step: TracingStep) -> str:
    """The step, and who is asked where that is not the desk itself."""
    if step is TracingStep.SAFEGUARDING:
        return "safeguarding question (ask the person responsible for safeguarding)"
    return step


def _unreached(standing: Standing) -> Iterator[Reason]:
    """A letter that came back, a number that is wrong, until the family is reached or seen."""
    seen = last_seen(standing.case, standing.today) or date.min
    tries: list[ContactTry] = []
    for tried in standing.case.tries:
        if tried.outcome is TryOutcome.REACHED:
            tries.clear()
        elif seen <= tried.on <= standing.today:
            tries.append(tried)
    letters = [t for t in tries if t.way is Way.LETTER]
    if letters and letters[-1].outcome is TryOutcome.RETURNED:
        yield Reason(
            ReasonKind.LETTER_RETURNED,
            f"letter returned {letters[-1].on}: ask for the right address",
        )
    rung = [t for t in tries if t.way in (Way.PHONE, Way.TEXT)]
    if rung and rung[-1].outcome is TryOutcome.WRONG_NUMBER:
        yield Reason(
            ReasonKind.NO_CONTACT, f"wrong number {rung[-1].on}: {_instead(standing.case)}"
        )


def _instead(case: Case) -> str:
    if len(phones(case)) > 1:
        return "try the other numbers and correct this one"
    if any(c.address or c.email for c in case.contacts):
        return "write to the family and ask for the right number"
    return "ask whoever referred the child, or send the community worker"


def phones(case: Case) -> tuple[str, ...]:
    """Every number recorded for the family, each once."""
    numbers = (*(c.phone for c in case.contacts), case.child.phone)
    return tuple(dict.fromkeys(number for number in numbers if number))


def _without_address(standing: Standing) -> Iterator[Reason]:
    """Said only where somebody must contact the family."""
    case = standing.case
    if not phones(case) and not any(c.address or c.email for c in case.contacts):
        yield Reason(
            ReasonKind.NO_CONTACT,
            f"no number and no address is recorded: {_instead(case)}",
        )


def _unsettled(standing: Standing) -> Iterator[Reason]:
    if standing.unsettled:
        days = ", ".join(str(a.on) for a in standing.unsettled)
        yield Reason(
            ReasonKind.NO_OUTCOME, f"what became of the appointment is not recorded ({days})"
        )


def _late(standing: Standing, by: date) -> Iterator[Reason]:
    closing = [visit for visit in standing.unbooked if visit.latest <= by]
    if standing.late:
        oldest = min(standing.late, key=lambda c: c.latest)
        kinds = ", ".join(dict.fromkeys(c.kind.replace("_", " ") for c in standing.late))
        yield Reason(ReasonKind.OVERDUE, f"overdue since {oldest.latest}: {kinds}")
    elif closing:
        yield Reason(ReasonKind.CLOSING, f"visit due by {closing[0].latest}, not booked")


def _no_clinic_day(standing: Standing) -> Iterator[Reason]:
    """Each stretch without a clinic once, with all that cannot be done in it."""
    shut: dict[str, list[str]] = {}
    for problem in standing.plan.problems:
        if problem.kind is ProblemKind.SHUT:
            shut.setdefault(problem.what, []).append(problem.about.replace("_", " "))
    for what, about in shut.items():
        kinds = ", ".join(dict.fromkeys(about))
        yield Reason(ReasonKind.NO_CLINIC_DAY, f"no clinic day for {kinds}: {what}")


def _no_appointment(standing: Standing) -> Reason:
    if not standing.unbooked:
        said = "no visit planned and no ending recorded"
    else:
        visit = standing.unbooked[0]
        opens = max(visit.earliest, standing.today)
        said = f"no appointment ahead: next visit due {opens} to {visit.latest}"
    return Reason(ReasonKind.NO_APPOINTMENT, said)
