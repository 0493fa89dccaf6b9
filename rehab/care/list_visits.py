"""Visits when examinations under anaesthesia have days of their own: the lists of the diary."""

from collections.abc import Mapping, Sequence
from datetime import date

from rehab.care.case import Appointment, CheckKind
from rehab.care.checks import Check
from rehab.care.diary import Session
from rehab.care.visits import Visit, plan_visits


def plan_visits_and_lists(
    checks: Sequence[Check],
    *,
    today: date,
    open_days: Sequence[date],
    booked: Mapping[date, Appointment],
    lists: Sequence[Session],
) -> tuple[tuple[Visit, ...], tuple[Check, ...]]:
    """The visits from `today` on, and the checks whose window holds no open or booked day.

    An examination under anaesthesia goes to a list in its window; without one, to any open day, as
    where the diary has no lists. What every list offers and falls due around it is done in the same
    sleep, unless the child is booked for it. A booking for a session that is no list leaves the
    examination to the list.
    """
    days = sorted({session.on for session in lists})
    asleep = [
        check
        for check in checks
        if check.kind is CheckKind.ANAESTHESIA and _inside(check, today, days)
    ]
    if not asleep:
        return plan_visits(checks, today=today, open_days=open_days, booked=tuple(booked))
    ids = {session.id for session in lists}
    on_list = [on for on, a in booked.items() if not a.session or a.session in ids]
    sleeps = [
        visit.on
        for visit in plan_visits(asleep, today=today, open_days=days, booked=on_list)[0]
        if visit.checks
    ]
    offered = frozenset.intersection(*(frozenset(session.kinds) for session in lists))
    joined = [
        check
        for check in checks
        if check.kind in offered
        and check.kind is not CheckKind.ANAESTHESIA
        and _inside(check, today, sleeps)
        and not _inside(check, today, booked)
    ]
    # With the joined checks no more sleeps are needed: each window holds one of the days chosen.
    together = plan_visits([*asleep, *joined], today=today, open_days=days, booked=on_list)[0]
    rest = [check for check in checks if check not in (*asleep, *joined)]
    awake, shut_out = plan_visits(rest, today=today, open_days=open_days, booked=tuple(booked))
    return _merged([*together, *awake]), shut_out


def _inside(check: Check, today: date, days: Sequence[date] | Mapping[date, Appointment]) -> bool:
    return any(max(check.earliest, today) <= day <= check.by for day in days)


def _merged(visits: Sequence[Visit]) -> tuple[Visit, ...]:
    """One visit for each day."""
    by_day: dict[date, Visit] = {}
    for visit in visits:
        other = by_day.get(visit.on)
        by_day[visit.on] = visit if other is None else _both(other, visit)
    return tuple(by_day[day] for day in sorted(by_day))


def _both(one: Visit, other: Visit) -> Visit:
    if not one.checks or not other.checks:
        return one if one.checks else other
    return Visit(
        one.on,
        max(one.earliest, other.earliest),
        min(one.latest, other.latest),
        (*one.checks, *other.checks),
        one.booked or other.booked,
    )
