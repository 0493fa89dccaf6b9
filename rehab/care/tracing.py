"""Tracing: the steps to reach a family after a child was not brought, and what settles each."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from rehab.care.case import Appointment, Case, Outcome
from rehab.care.checks import NOT_OPERATED
from rehab.care.contacts import ContactTry, TryOutcome, Way
from rehab.rules.domain import Value
from rehab.rules.protocol import Because, Protocol
from rehab.rules.table import Outcome as Says

TRACING = "tracing_step"


class TracingStep(StrEnum):
    """What is done to reach a family, the lightest first."""

    CALL = "same-day call"
    NEW_DATE = "new date"
    LETTER = "letter"
    COMMUNITY_WORKER = "community worker"
    SAFEGUARDING = "safeguarding question"


@dataclass(frozen=True, slots=True)
class Step:
    """One step `about` an appointment; `done` is the try or the new appointment that settled it."""

    step: TracingStep
    about: Appointment
    due_on: date
    done: ContactTry | Appointment | None
    because: Because


def tracing_steps(case: Case, protocol: Protocol, today: date) -> tuple[Step, ...]:
    """What the table asks for since the child was last seen, done or not.

    Each new appointment missed starts the steps afresh. Once the family knows of a new date only
    the safeguarding question is left.
    """
    missed = missed_since_seen(case, today)
    cancelled = _since_seen(case, Outcome.CANCELLED_BY_FAMILY, today)
    steps = tuple(TracingStep)
    if not missed or loop_closed(case, today):
        steps = (TracingStep.SAFEGUARDING,)
    return tuple(
        found for step in steps for found in _step(case, protocol, step, (missed, cancelled), today)
    )


def last_seen(case: Case, today: date) -> date | None:
    """The last day on which the child was at the clinic."""
    seen = [e.on for e in case.examinations]
    seen += [a.on for a in case.appointments if a.outcome is Outcome.ATTENDED]
    return max((day for day in seen if day <= today), default=None)


def missed_since_seen(case: Case, today: date) -> tuple[Appointment, ...]:
    """The appointments to which the child was not brought since it last came."""
    return _since_seen(case, Outcome.WAS_NOT_BROUGHT, today)


def new_date(case: Case, after: date, today: date) -> Appointment | None:
    """The first appointment ahead that was made for a day after `after`."""
    return next((a for a in booked_ahead(case, today) if a.on > after), None)


def booked_ahead(case: Case, today: date) -> tuple[Appointment, ...]:
    return tuple(a for a in case.appointments if a.outcome is Outcome.BOOKED and a.on >= today)


def reached_since(case: Case, day: date, today: date) -> ContactTry | None:
    """The first try from `day` on by which somebody spoke with the family."""
    tries = (t for t in case.tries if day <= t.on <= today)
    return next((t for t in tries if t.outcome is TryOutcome.REACHED), None)


def untold(case: Case, today: date) -> tuple[Appointment, ...]:
    """What lies ahead and the family has not heard of: booked, moved or cancelled by the clinic,
    and since then nobody spoke with the family. A child seen on a later day was told there."""
    seen = last_seen(case, today) or date.min
    return tuple(
        a
        for a in case.appointments
        if a.on >= today
        and a.outcome in (Outcome.BOOKED, Outcome.CANCELLED_BY_CLINIC)
        and a.arranged_on is not None
        and seen <= a.arranged_on
        and _times_reached(case, a.arranged_on) <= a.reached_before
        and not reached_since(case, a.arranged_on + timedelta(days=1), today)
    )


def arranged(appointment: Appointment, case: Case, today: date) -> Appointment:
    """As it is once it was booked, moved or cancelled today: what was said before does not count
    as told."""
    return replace(appointment, arranged_on=today, reached_before=_times_reached(case, today))


def _times_reached(case: Case, day: date) -> int:
    return sum(t.on == day and t.outcome is TryOutcome.REACHED for t in case.tries)


def loop_closed(case: Case, today: date) -> bool:
    """Whether nothing was missed since the child was seen, or the family knows of a new date."""
    missed = missed_since_seen(case, today)
    if not missed:
        return True
    last = missed[-1].on
    ahead = new_date(case, last, today)
    told = ahead is not None and ahead not in untold(case, today)
    return told and reached_since(case, last, today) is not None


def _since_seen(case: Case, outcome: Outcome, today: date) -> tuple[Appointment, ...]:
    seen = last_seen(case, today) or date.min
    return tuple(a for a in case.appointments if a.outcome is outcome and seen < a.on <= today)


def _step(
    case: Case,
    protocol: Protocol,
    step: TracingStep,
    pattern: tuple[tuple[Appointment, ...], tuple[Appointment, ...]],
    today: date,
) -> Iterator[Step]:
    missed, cancelled = pattern
    asked_about = (*missed, *cancelled) if step is TracingStep.SAFEGUARDING else missed
    if not asked_about:
        return
    about = max(asked_about, key=lambda a: a.on)
    operated = [s.on for s in case.surgeries if s.on <= about.on]
    given: dict[str, Value] = {
        "step": step.value,
        "days_since_surgery": (about.on - operated[-1]).days if operated else NOT_OPERATED,
        "times_not_brought": len(missed),
        "times_cancelled": len(cancelled),
    }
    answer = protocol.ask(TRACING, about.on, given)
    if answer.outcome is Says.THEN:
        due_on = about.on + timedelta(days=answer.number("due_within_days"))
        yield Step(step, about, due_on, _done(case, step, about, today), answer.because)


def _done(
    case: Case, step: TracingStep, about: Appointment, today: date
) -> ContactTry | Appointment | None:
    """A family that was reached need not be traced further; a letter must not have come back."""
    if step is TracingStep.NEW_DATE:
        return new_date(case, about.on, today)
    if step is not TracingStep.SAFEGUARDING and (found := reached_since(case, about.on, today)):
        return found
    tries = [t for t in case.tries if about.on <= t.on <= today]
    if step is TracingStep.CALL:
        return None
    if step is TracingStep.LETTER:
        letters = [t for t in tries if t.way is Way.LETTER]
        return letters[-1] if letters and letters[-1].outcome is TryOutcome.SENT else None
    way = Way.COMMUNITY_WORKER if step is TracingStep.COMMUNITY_WORKER else Way.SAFEGUARDING
    return next((t for t in tries if t.way is way and t.outcome is TryOutcome.DONE), None)
