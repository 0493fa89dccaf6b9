"""Many visits proposed into sessions at once: what wants a place, and where the solver puts it."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from enum import StrEnum

from rehab.booking_desk import ONE_DAY, in_session, visit_minutes
from rehab.care.booking import Proposal, Request
from rehab.care.case import Appointment, Case, CheckKind, Child, Outcome
from rehab.care.diary import Session
from rehab.care.plan import Plan
from rehab.care.recall import CONTACT
from rehab.care.session_room import Booked, by_session, offers, opening_of
from rehab.care.visits import Visit
from rehab.errors import RehabError
from rehab.placement import propose
from rehab.processes import Numbers, in_batches
from rehab.session_dates import sessions
from rehab.workflow import Desk, plan_of, recall_of

LEAST_URGENT = max(CONTACT)
# How long a session is looked for where each comes after the last good day of a visit, and within
# which time such a visit joins the next: chosen here.
LOOK_FOR_LATE = timedelta(days=28)
SOON = timedelta(days=7)


class MayMove(StrEnum):
    """Which of the appointments that are booked a proposal may put elsewhere."""

    NOTHING = "nothing"
    SHUT = "shut days"
    ALL = "all"


@dataclass(frozen=True, slots=True)
class Period:
    """Visits planned from `first` to `last`; `today` is the day to plan from."""

    today: date
    first: date
    last: date


@dataclass(frozen=True, slots=True)
class Left:
    """A visit that nobody can be given a place for, and what a person can do."""

    child: Child
    visit: str
    why: str
    do: str
    urgency: int = 1
    window: tuple[date, date] | None = None


@dataclass(frozen=True, slots=True)
class Wishes:
    """What one child wants: `moves` has by visit the appointment that would be moved, `late` the
    last good day of each visit for which any session comes too late."""

    child: Child
    requests: tuple[Request, ...] = ()
    moves: Mapping[str, Appointment] = field(default_factory=dict)
    late: Mapping[str, date] = field(default_factory=dict)
    left: tuple[Left, ...] = ()
    booked: tuple[date, ...] = ()


@dataclass(frozen=True, slots=True)
class Place:
    """One visit as it would be booked, or as an appointment would be moved.

    `late` is its last good day, where the session comes after it.
    """

    child: Child
    request: Request
    session: Session
    appointment: Appointment
    moved: bool
    late: date | None = None


@dataclass(frozen=True, slots=True)
class Proposed:
    """`searches` are the answers of the solver: at the clinic, and under anaesthesia."""

    places: tuple[Place, ...]
    left: tuple[Left, ...]
    searches: tuple[tuple[str, Proposal], ...]


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is asked of each child."""

    period: Period
    may_move: MayMove


def wishes(desk: Desk, period: Period, may_move: MayMove) -> Iterator[tuple[Wishes, ...]]:
    """Of every child, a batch at a time in no order; of one that cannot be planned, why."""
    yield from in_batches(desk, desk.store.numbers(), _wishes_of_batch, _Asked(period, may_move))


def _wishes_of_batch(desk: Desk, numbers: Numbers, asked: _Asked) -> tuple[Wishes, ...]:
    return tuple(_wishes_of(desk, case, asked) for case in desk.store.cases(numbers))


def _wishes_of(desk: Desk, case: Case, asked: _Asked) -> Wishes:
    if case.ending is not None and case.ending.on <= asked.period.today:
        return Wishes(case.child)
    try:
        plan = plan_of(desk, case, today=asked.period.today)
        return _wishes(desk, case, plan, asked.period, asked.may_move)
    except RehabError as error:
        left = Left(case.child, "", f"No plan can be made: {error}", "Correct the record.")
        return Wishes(case.child, left=(left,))


def _wishes(desk: Desk, case: Case, plan: Plan, period: Period, may_move: MayMove) -> Wishes:
    urgency = _urgency(desk, case, plan, period)
    kept = [a for a in case.appointments if a.outcome is Outcome.BOOKED and not desk.why_shut(a)]
    booked = tuple(a.on for a in kept)
    left: list[Left] = []
    wanted: list[Visit] = []
    for visit in plan.visits:
        if visit.on > period.last:
            break
        if visit.appointment and not _movable(desk, visit.appointment, period, may_move):
            left += _on_a_shut_day(desk, case.child, visit.appointment, urgency)
        elif visit.checks:
            wanted.append(visit)
    late = [visit for visit in wanted if _too_late(desk, visit, period)]
    trips = _trips([visit for visit in wanted if visit not in late], late, period, booked)
    requests = tuple(
        Request(
            case.child.number,
            trip.name,
            trip.visit.earliest,
            min(max(trip.visit.on, trip.visit.earliest), trip.visit.latest),
            trip.visit.latest,
            visit_minutes(trip.visit.kinds, desk.protocol, trip.visit.on),
            trip.visit.kinds,
            urgency,
            case.child.family,
            case.limits,
        )
        for trip in trips
    )
    return Wishes(
        case.child,
        requests,
        {trip.name: trip.visit.appointment for trip in trips if trip.visit.appointment},
        {trip.name: trip.late for trip in trips if trip.late},
        tuple(left),
        booked,
    )


def _too_late(desk: Desk, visit: Visit, period: Period) -> bool:
    """Whether every session comes after its last good day: because that is over, or because the
    visit is booked on a shut day and nothing else is held in its window."""
    if visit.latest < period.first:
        return True
    if visit.appointment is None or not desk.why_shut(visit.appointment):
        return False
    earliest = max(visit.earliest, period.first)
    held = sessions(desk.diary, earliest, visit.latest + ONE_DAY)
    return not any(offers(session, visit.kinds) for session in held)


@dataclass(frozen=True, slots=True)
class _Trip:
    """A visit with what is left of its window, or several in one; `late` as in `Place`."""

    name: str
    visit: Visit
    late: date | None = None


def visit_name(visit: Visit) -> str:
    """By its planned day, in a way that no spreadsheet takes for a date to write otherwise."""
    return visit.appointment.id if visit.appointment else f"v{visit.on}"


def _trips(
    in_time: Sequence[Visit], late: Sequence[Visit], period: Period, booked: Sequence[date]
) -> list[_Trip]:
    """The visits with what is left of their windows, none over another.

    What is late joins the next visit, if that is good within a week. Else it is wanted as soon as
    can be, unless the child comes soon anyway.
    """
    inside: list[Visit] = []
    for visit in in_time:
        after = inside[-1].latest + ONE_DAY if inside else period.first
        earliest = max(visit.earliest, period.first, after)
        if earliest <= visit.latest:
            inside.append(replace(visit, earliest=earliest))
    trips = [_Trip(visit_name(visit), visit) for visit in inside]
    if not late:
        return trips
    last_good_day = min(visit.latest for visit in late)
    start = max(period.first, late[0].earliest)
    following = [visit for visit in inside if visit.earliest >= start]
    if following and following[0].earliest <= start + SOON:
        joined = _together([*late, following[0]], following[0], last_good_day)
        return [joined if trip.visit is following[0] else trip for trip in trips]
    if any(start <= day <= start + LOOK_FOR_LATE for day in booked):
        return trips
    latest = min([start + LOOK_FOR_LATE, *(visit.earliest - ONE_DAY for visit in following)])
    alone = replace(late[0], earliest=start, latest=latest)
    return sorted(
        [_together(late, alone, last_good_day), *trips], key=lambda trip: trip.visit.earliest
    )


def _together(visits: Sequence[Visit], window: Visit, last_good_day: date) -> _Trip:
    """One trip for several visits; where one of them is booked, it is that which is moved."""
    booked = next((visit for visit in visits if visit.appointment), None)
    name = visit_name(booked) if booked else " ".join(map(visit_name, visits))
    checks = tuple(check for visit in visits for check in visit.checks)
    appointment = booked.appointment if booked else None
    return _Trip(name, replace(window, checks=checks, appointment=appointment), last_good_day)


def _on_a_shut_day(
    desk: Desk, child: Child, appointment: Appointment, urgency: int
) -> Iterator[Left]:
    if why := desk.why_shut(appointment):
        why = f"It is booked on {appointment.on}, and cannot be kept: {why}."
        do = "Have it moved by this proposal with --move 'shut days', or ring and move it."
        yield Left(child, appointment.id, why, do, urgency, (appointment.on, appointment.on))


def _movable(desk: Desk, appointment: Appointment, period: Period, may_move: MayMove) -> bool:
    if appointment.on < period.first or may_move is MayMove.NOTHING:
        return False
    return (may_move is MayMove.ALL and appointment.session != "") or bool(
        desk.why_shut(appointment)
    )


def _urgency(desk: Desk, case: Case, plan: Plan, period: Period) -> int:
    """As on the recall list, but that an agreed next try does not make a visit less urgent."""
    tries = tuple(replace(made, next_try=None) for made in case.tries)
    impatient = replace(case, tries=tries)
    line = recall_of(desk, impatient, plan, today=period.today, by=period.last)
    return line.urgency if line else LEAST_URGENT


def place(
    desk: Desk, found: Sequence[Wishes], period: Period, *, seconds: float = 60.0
) -> Proposed:
    """The best places for all that was wished. What is booked keeps its place unless it is among
    the wishes, and no family loses a place to another."""
    requests = _with_siblings_in_mind(found)
    left = [gone for wished in found for gone in wished.left]
    moves = {
        (wished.child.number, visit): appointment
        for wished in found
        for visit, appointment in wished.moves.items()
    }
    children = {wished.child.number: wished for wished in found}
    if not requests:
        return Proposed((), tuple(left), ())
    until = max(request.latest for request in requests) + ONE_DAY
    held = sessions(desk.diary, period.first, until)
    booked = by_session(desk.store.booked(period.first, until))
    places: list[Place] = []
    searches: list[tuple[str, Proposal]] = []
    for name, anaesthesia in (("at the clinic", False), ("under anaesthesia", True)):
        mine = [r for r in requests if (CheckKind.ANAESTHESIA in r.kinds) is anaesthesia]
        lists = [session for session in held if session.under_anaesthesia is anaesthesia]
        if not mine:
            continue
        search = _search(mine, lists, booked, moves, seconds)
        searches.append((name, search))
        places += _places(search, lists, booked, moves, children)
        left += (
            Left(
                children[n.request.child_number].child,
                n.request.visit,
                n.why,
                n.do,
                n.request.urgency,
                (n.request.earliest, n.request.latest),
            )
            for n in search.not_placed
            if n.request.key not in moves or desk.why_shut(moves[n.request.key])
        )
    places.sort(key=lambda p: (p.session.on, p.session.id, p.appointment.starts_minute or 0))
    left.sort(key=lambda gone: (gone.urgency, gone.child.number, gone.visit))
    return Proposed(tuple(places), tuple(left), tuple(searches))


def _with_siblings_in_mind(found: Iterable[Wishes]) -> list[Request]:
    """The requests, each aimed at a day on which a brother or sister is booked already, where its
    window holds one."""
    days: dict[str, Counter[date]] = defaultdict(Counter)
    for wished in found:
        if wished.child.family:
            days[wished.child.family].update(wished.booked)
    aimed = []
    for wished in found:
        for request in wished.requests:
            others = days[request.family] - Counter(wished.booked) if request.family else Counter()
            shared = [day for day in others if request.earliest <= day <= request.latest]
            if shared and not wished.moves:
                nearest = min(shared, key=lambda day: (abs((day - request.target).days), day))
                request = replace(request, target=nearest)
            aimed.append(request)
    return aimed


def _search(
    requests: list[Request],
    held: Sequence[Session],
    booked: Booked,
    moves: Mapping[tuple[str, str], Appointment],
    seconds: float,
) -> Proposal:
    """Solved again with what is booked kept where it is, as long as the best would leave a family
    that has a place without one."""
    here = {session.id for session in held}
    keeping = {key for key, appointment in moves.items() if appointment.session in here}
    keep: set[tuple[str, str]] = set()
    while True:
        asked = [request for request in requests if request.key not in keep]
        staying = _staying(booked, {moves[r.key].id for r in asked if r.key in moves})
        openings = [opening_of(session, staying) for session in held]
        search = propose(asked, openings, seconds=seconds)
        lost = {n.request.key for n in search.not_placed} & keeping
        if not lost:
            return search
        keep |= lost


def _staying(booked: Booked, away: set[str]) -> Booked:
    return {id: [a for a in there if a.id not in away] for id, there in booked.items()}


def _places(
    search: Proposal,
    held: Sequence[Session],
    booked: Booked,
    moves: Mapping[tuple[str, str], Appointment],
    children: Mapping[str, Wishes],
) -> Iterator[Place]:
    """With an hour for each, the most urgent first; who stays in its session is not named."""
    by_id = {session.id: session for session in held}
    away = {a.id for p in search.placed if (a := moves.get(p.request.key))}
    stay = {
        p.request.key
        for p in search.placed
        if p.request.key in moves and moves[p.request.key].session == p.opening_id
    }
    filled = {id: list(there) for id, there in _staying(booked, away).items()}
    for key in sorted(stay):
        filled.setdefault(moves[key].session, []).append(moves[key])
    for placed in sorted(search.placed, key=lambda p: (p.request.urgency, p.request.key)):
        if placed.request.key in stay:
            continue
        request, session = placed.request, by_id[placed.opening_id]
        before = moves.get(request.key, Appointment("", request.target))
        fresh = Appointment(before.id, session.on)
        appointment = in_session(
            fresh, session, filled, request.minutes, not_before=request.limits.not_before_minute
        )
        filled.setdefault(session.id, []).append(appointment)
        wished = children[request.child_number]
        late = wished.late.get(request.visit)
        yield Place(wished.child, request, session, appointment, bool(before.id), late)
