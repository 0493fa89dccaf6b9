"""One appointment in a session: booked or moved by a person, with its hour and its room."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

from rehab.care.arrival import arrival_minute
from rehab.care.booking import in_words, obstacles
from rehab.care.case import Appointment, Case, CheckKind, Outcome
from rehab.care.diary import Diary, Session
from rehab.care.plan import Plan
from rehab.care.session_room import Booked, by_session, minutes_left, opening_of, settled_there
from rehab.care.tracing import arranged, booked_ahead
from rehab.clinic_days import with_closed_days
from rehab.errors import RecordError
from rehab.measures.clock import MINUTES_PER_DAY, clock
from rehab.rules.protocol import Protocol
from rehab.session_dates import session_of, sessions
from rehab.store.store import Stamp, Transaction
from rehab.workflow import Desk, check_appointment, correct_appointment, plan_of

MINUTES_TABLE = "check_minutes"
# For a visit that a person books although no check falls due.
MINUTES_WITHOUT_CHECK = 15
ONE_DAY = timedelta(days=1)
# How far ahead a message looks for sessions that would suit instead.
LOOK_FOR_ROOM = timedelta(days=28)
SUGGESTED = 3


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a person asks for: a day, and where it matters a session, an hour and a length.

    `session` is the code of a pattern, "" for any that fits. `overbook` puts the child there
    although the room is taken, or on a day without a session.
    """

    on: date
    session: str = ""
    starts_minute: int | None = None
    minutes: int | None = None
    overbook: bool = False


def visit_minutes(kinds: Iterable[CheckKind], protocol: Protocol, on: date) -> int:
    """How long a visit with these checks takes, each counted once."""
    asked = [protocol.ask(MINUTES_TABLE, on, {"check": kind.value}) for kind in set(kinds)]
    return sum(answer.number("minutes") for answer in asked) or MINUTES_WITHOUT_CHECK


def book(desk: Desk, number: str, wanted: Wanted, *, today: date, stamp: Stamp) -> Appointment:
    """Raises RecordError when no session of the day offers what is due and has room."""
    with desk.store.transaction() as tx:
        case = tx.case(number)
        fresh = arranged(Appointment("", wanted.on), case, today)
        placed = _placed(tx, desk, case, fresh, wanted, today)
        return replace(placed, id=tx.add(number, placed, stamp))


def move(
    desk: Desk, number: str, on: date, wanted: Wanted, *, today: date, stamp: Stamp
) -> Appointment:
    """The appointment booked on `on` as it is after its move; the family's calendar follows it."""
    with desk.store.transaction() as tx:
        case = tx.case(number)
        booked = next(
            (a for a in case.appointments if a.on == on and a.outcome is Outcome.BOOKED), None
        )
        if booked is None:
            raise RecordError(
                f"no appointment is booked on {on}.",
                where=number,
                do=f"See what is booked with: rehab child show {number}",
            )
        others = tuple(a for a in case.appointments if a.id != booked.id)
        if wanted.on < today:
            raise RecordError(
                f"{wanted.on} is past (today is {today}).",
                where=number,
                do="Check the date; what became of a past visit is recorded as its outcome.",
            )
        fresh = arranged(Appointment(booked.id, wanted.on), case, today)
        placed = _placed(tx, desk, replace(case, appointments=others), fresh, wanted, today)
        correct_appointment(tx, placed, stamp, f"moved from {on} to {placed.on}")
        return placed


def mind(desk: Desk, number: str, booked: Appointment, *, today: date) -> tuple[str, ...]:
    """What a person should know of an appointment that was booked by hand, in sentences."""
    case = desk.store.case(number)
    said = []
    session = session_of(desk.diary, booked.session) if booked.session else None
    if session and (found := obstacles(case.limits, opening_of(session, {}))):
        said.append(f"The family has stated that this does not suit it: {' and '.join(found)}.")
    if booked.on >= today:
        plan = plan_of(desk, case, today=today)
        visit = next((v for v in plan.visits if v.on == booked.on), None)
        if visit is None or not visit.checks:
            said.append("No check falls due on this day; what is due stays to be booked.")
        said += _siblings_on_other_days(desk, case, booked.on, today)
    return tuple(said)


def _siblings_on_other_days(desk: Desk, case: Case, on: date, today: date) -> Iterator[str]:
    family, number = case.child.family, case.child.number
    if not family:
        return
    same = [c.number for c in desk.store.children() if c.family == family and c.number != number]
    for sibling in desk.store.cases(same):
        days = [a.on for a in booked_ahead(sibling, today)]
        if days and on not in days:
            told = ", ".join(map(str, days))
            yield f"{sibling.child.number} of the same family is booked on {told}, not on this day."


def in_session(
    appointment: Appointment,
    session: Session,
    booked: Booked,
    minutes: int,
    starts_minute: int | None = None,
    not_before: int | None = None,
) -> Appointment:
    """`appointment` in this session, at the hour given or else at the first that is free, from
    when the family can come."""
    there = [a for a in booked.get(session.id, ()) if not a.id or a.id != appointment.id]
    if starts_minute is None:
        starts_minute = arrival_minute(session, there, minutes, not_before)
    elif not session.starts_minute <= starts_minute < session.ends_minute:
        raise RecordError(
            f"the session lasts from {clock(session.starts_minute)} to "
            f"{clock(session.ends_minute)}, so that {clock(starts_minute)} is outside it.",
            where=f"session {session.id}",
            do="Give an hour inside it.",
        )
    return replace(
        appointment,
        on=session.on,
        session=session.id,
        starts_minute=starts_minute,
        minutes=minutes,
    )


def kinds_due(plan: Plan, on: date) -> frozenset[CheckKind]:
    """The checks that a visit on `on` should settle: all that may be done by then and that no
    booked visit settles before."""
    settled = {c.key for v in plan.visits if v.booked and v.on <= on for c in v.checks}
    return frozenset(c.kind for c in plan.checks if c.earliest <= on and c.key not in settled)


def _placed(
    tx: Transaction,
    desk: Desk,
    case: Case,
    appointment: Appointment,
    wanted: Wanted,
    today: date,
) -> Appointment:
    """`appointment` with its session, hour and length, after everything that forbids it."""
    check_appointment(case.child, appointment, today)
    _refuse_after_ending(case, wanted)
    _refuse_odd_minutes(case, wanted)
    diary = with_closed_days(tx.diary(), desk.settings.clinic)
    if wanted.on < today or not (diary.patterns or wanted.session):
        return replace(appointment, starts_minute=wanted.starts_minute, minutes=wanted.minutes or 0)
    due = kinds_due(plan_of(desk, case, today=today), wanted.on)
    booked = _without(by_session(tx.booked(wanted.on, wanted.on + LOOK_FOR_ROOM)), appointment.id)
    asked = _sessions_asked_for(diary, wanted, wanted.on + ONE_DAY)
    fitting = list(_fitting(desk, asked, due, wanted))
    roomy = [fit for fit in fitting if fit.minutes <= minutes_left(fit.session, booked)]
    at, limit = wanted.starts_minute, case.limits.not_before_minute
    if roomy:
        return in_session(appointment, roomy[0].session, booked, roomy[0].minutes, at, limit)
    if not wanted.overbook:
        later = _sessions_asked_for(diary, wanted, wanted.on + LOOK_FOR_ROOM)
        instead = [
            fit.session.id
            for fit in _fitting(desk, later, due, wanted)
            if fit.minutes <= minutes_left(fit.session, booked)
        ]
        why = _why_none(wanted, due, asked, fitting, booked)
        raise RecordError(why, where=case.child.number, do=_what_to_do(instead))
    minutes = wanted.minutes or visit_minutes(due, desk.protocol, wanted.on)
    if not asked:
        return replace(appointment, starts_minute=at, minutes=minutes, overbooked=True)
    beyond = fitting[0] if fitting else _Fit(asked[0], minutes)
    placed = in_session(appointment, beyond.session, booked, beyond.minutes, at, limit)
    return replace(placed, overbooked=True)


@dataclass(frozen=True, slots=True)
class _Fit:
    """A session that is a place for what is due, and how long the visit takes there."""

    session: Session
    minutes: int


def _fitting(
    desk: Desk, held: Iterable[Session], due: frozenset[CheckKind], wanted: Wanted
) -> Iterator[_Fit]:
    for session in held:
        kinds = settled_there(session, due)
        if kinds is not None:
            minutes = wanted.minutes or visit_minutes(kinds, desk.protocol, wanted.on)
            yield _Fit(session, minutes)


def _refuse_after_ending(case: Case, wanted: Wanted) -> None:
    """Nobody would be planned for, told or reminded."""
    ending = case.ending
    if ending is not None and ending.on < wanted.on:
        raise RecordError(
            f"care here ended on {ending.on} ({ending.kind}), so nothing can be booked after it.",
            where=case.child.number,
            do="If it did not end, withdraw that record first; see: "
            f"rehab child show {case.child.number}",
        )


def _refuse_odd_minutes(case: Case, wanted: Wanted) -> None:
    if wanted.minutes is not None and not 0 < wanted.minutes <= MINUTES_PER_DAY:
        raise RecordError(
            f"a visit cannot take {wanted.minutes} minutes.",
            where=case.child.number,
            do=f"Say how many minutes it takes, 1 to {MINUTES_PER_DAY}, or leave it out.",
        )


def _without(booked: Booked, id: str) -> Booked:
    return {session: [a for a in held if a.id != id] for session, held in booked.items()}


def _sessions_asked_for(diary: Diary, wanted: Wanted, until: date) -> list[Session]:
    if wanted.session and wanted.session not in {p.code for p in diary.patterns}:
        known = ", ".join(pattern.code for pattern in diary.patterns) or "none yet"
        raise RecordError(
            f"no session has the code {wanted.session!r} (known: {known}).",
            where="diary",
            do="See them with: rehab diary show",
        )
    found = sessions(diary, wanted.on, until)
    return [session for session in found if wanted.session in ("", session.pattern)]


def _why_none(
    wanted: Wanted,
    due: frozenset[CheckKind],
    asked: list[Session],
    fitting: list[_Fit],
    booked: Booked,
) -> str:
    named = f"session {wanted.session}" if wanted.session else "session"
    if not asked:
        return f"no {named} is held on {wanted.on:%A} {wanted.on}."
    if not fitting:
        ids = ", ".join(session.id for session in asked)
        return f"{ids} does not offer what is due then ({in_words(sorted(due))})."
    most = max(fitting, key=lambda fit: minutes_left(fit.session, booked))
    left = max(minutes_left(most.session, booked), 0)
    return f"{most.session.id} has {left} minutes left, and this visit takes {most.minutes}."


def _what_to_do(instead: list[str]) -> str:
    beyond = "give --overbook if a person has decided that"
    if not instead:
        return f"Add a session, or {beyond}."
    return f"Room is in {', '.join(instead[:SUGGESTED])}; or {beyond}."
