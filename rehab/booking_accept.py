"""A proposal accepted by a person: each line checked again, and all of them booked together."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from rehab.booking_desk import ONE_DAY, in_session, visit_minutes
from rehab.booking_files import Line
from rehab.booking_proposal import visit_name
from rehab.care.booking import in_words, obstacles
from rehab.care.case import Appointment, Case, CheckKind, Outcome
from rehab.care.diary import Session
from rehab.care.plan import Plan
from rehab.care.session_room import Booked, by_session, minutes_left, offers, opening_of
from rehab.care.tracing import arranged
from rehab.care.visits import Visit
from rehab.clinic_days import with_closed_days
from rehab.errors import RecordError, RehabError
from rehab.session_dates import session_of
from rehab.store.store import Stamp, Transaction
from rehab.workflow import Desk, check_appointment, correct_appointment, plan_or_why

NAMED = 10
CHILDREN_AT_ONCE = 200


@dataclass(frozen=True, slots=True)
class Accepted:
    """What was booked, and the lines that could not be any more, with why."""

    booked: tuple[tuple[str, Appointment], ...]
    refused: tuple[tuple[Line, str], ...]


@dataclass(frozen=True, slots=True)
class _Known:
    """A child as it was when it was planned."""

    revision: int
    case: Case
    plan: Plan | RehabError


def accept(
    desk: Desk, lines: Sequence[Line], *, today: date, stamp: Stamp, skip_failed: bool = False
) -> Accepted:
    """Books every line, or none of them and raises RecordError; with `skip_failed` those that can
    be booked. A line must still be what some visit of its child needs, in a session with room."""
    known = _planned(desk, lines, today)
    with desk.store.transaction() as tx:
        done = _Accepting(tx, desk, known, today, stamp).all(lines)
        if done.refused and not skip_failed:
            more = f" And {len(done.refused) - NAMED} more." if len(done.refused) > NAMED else ""
            said = " ".join(f"Line {line.line}: {why}" for line, why in done.refused[:NAMED])
            raise RecordError(
                f"{len(done.refused)} of {len(lines)} lines cannot be booked any more. "
                f"{said}{more}",
                where="proposal",
                do="Nothing was booked. Propose anew, or give --skip-failed to book the others.",
            )
    return done


def _planned(desk: Desk, lines: Sequence[Line], today: date) -> dict[str, _Known]:
    """Before the transaction, so that nobody waits for it."""
    numbers = list(dict.fromkeys(line.number for line in lines))
    known: dict[str, _Known] = {}
    for start in range(0, len(numbers), CHILDREN_AT_ONCE):
        cases, _, revisions = desk.store.planning(numbers[start : start + CHILDREN_AT_ONCE])
        for number, case in cases.items():
            known[number] = _know(desk, case, revisions[number], today)
    return known


def _know(desk: Desk, case: Case, revision: int, today: date) -> _Known:
    return _Known(revision, case, plan_or_why(desk, case, today=today))


class _Accepting:
    """The lines of one proposal, booked one after the other within a transaction."""

    def __init__(
        self, tx: Transaction, desk: Desk, known: dict[str, _Known], today: date, stamp: Stamp
    ) -> None:
        self.tx, self.desk, self.known, self.today, self.stamp = tx, desk, known, today, stamp
        self.room: dict[str, list[Appointment]] = {}
        self.placed_on: dict[tuple[str, date], int] = {}

    def all(self, lines: Sequence[Line]) -> Accepted:
        diary = with_closed_days(self.tx.diary(), self.desk.settings.clinic)
        held = {id: session_of(diary, id) for id in {line.session for line in lines}}
        days = [session.on for session in held.values() if session]
        booked = self.tx.booked(min(days), max(days) + ONE_DAY) if days else ()
        before = by_session(booked)
        moved = {line.moves for line in lines if line.moves}
        leaving = {a.id: a for _, a in booked if a.id in moved}
        self.room = {id: [a for a in there if a.id not in moved] for id, there in before.items()}
        now = self.tx.revisions(list({line.number for line in lines}))
        done: list[tuple[str, Appointment]] = []
        refused: list[tuple[Line, str]] = []
        first_days = sorted(lines, key=lambda line: (line.session.rpartition("/")[2], line.line))
        for line in first_days:
            seen = self.known.get(line.number)
            if (seen.revision if seen else 0) != now[line.number]:
                seen = self._known_now(line.number, now[line.number])
            try:
                placed = self._one(line, seen, held[line.session])
            except RehabError as error:
                refused.append((line, f"{line.number}: {error.what} {error.do}".strip()))
                if line.moves in leaving:
                    # What could not be moved takes up its old room.
                    self.room[leaving[line.moves].session].append(leaving[line.moves])
                continue
            done.append((line.number, placed))
        self._refuse_overfull(held, before)
        return Accepted(tuple(done), tuple(refused))

    def _known_now(self, number: str, revision: int) -> _Known | None:
        try:
            known = _know(self.desk, self.tx.case(number), revision, self.today)
        except RecordError:
            return None
        self.known[number] = known
        return known

    def _one(self, line: Line, seen: _Known | None, session: Session | None) -> Appointment:
        if seen is None:
            raise RecordError("no child has this number.", do="Check the number.")
        if isinstance(seen.plan, RehabError):
            raise seen.plan
        if session is None:
            raise RecordError(f"session {line.session} is not held, or not any more.")
        if session.on < self.today:
            raise RecordError(f"session {session.id} is past (today is {self.today}).")
        was = _still_booked(line, seen.case)
        due = self._due(line, seen.plan, session)
        if found := obstacles(seen.case.limits, opening_of(session, self.room)):
            raise RecordError(f"what the family has stated rules it out: {' and '.join(found)}.")
        minutes = line.minutes or visit_minutes(_kinds(due), self.desk.protocol, session.on)
        left = max(minutes_left(session, self.room), 0)
        if minutes > left:
            raise RecordError(
                f"session {session.id} has {left} minutes left, and this visit takes {minutes}."
            )
        fresh = arranged(Appointment(line.moves, session.on), seen.case, self.today)
        placed = in_session(fresh, session, self.room, minutes, line.starts_minute)
        check_appointment(seen.case.child, placed, self.today)
        placed = self._write(line, was, placed)
        self.room.setdefault(session.id, []).append(placed)
        self.placed_on |= {(line.number, visit.on): line.line for visit in due}
        return placed

    def _due(self, line: Line, plan: Plan, session: Session) -> tuple[Visit, ...]:
        """The visits that the line is for, as far as they are still planned; on another day than
        that of the proposal, the first that is due by then. What is moved keeps its checks."""
        if line.moves:
            due = [v for v in plan.visits if v.appointment and v.appointment.id == line.moves]
        else:
            open_now = [v for v in plan.visits if not v.booked and v.checks]
            named = [v for v in open_now if visit_name(v) in line.visits]
            by_then = [v for v in open_now if v.earliest <= session.on]
            due = named or [v for v in by_then if offers(session, _kinds([v]))][:1] or by_then[:1]
        if not due:
            raise RecordError(f"no unbooked visit is due by {session.on} any more.")
        for visit in due:
            other = self.placed_on.get((line.number, visit.on))
            if other is not None:
                raise RecordError(f"line {other} places this visit already.")
        if not offers(session, _kinds(due)):
            named_kinds = in_words(sorted(_kinds(due)))
            raise RecordError(f"session {session.id} does not offer {named_kinds}.")
        return tuple(due)

    def _write(self, line: Line, was: Appointment | None, placed: Appointment) -> Appointment:
        if was is None:
            return replace(placed, id=self.tx.add(line.number, placed, self.stamp))
        correct_appointment(self.tx, placed, self.stamp, f"moved from {was.on} to {placed.on}")
        return placed

    def _refuse_overfull(self, held: Mapping[str, Session | None], before: Booked) -> None:
        for session in held.values():
            if session is None:
                continue
            left = minutes_left(session, self.room)
            if left < 0 and left < minutes_left(session, before):
                raise RecordError(
                    f"session {session.id} would hold more than it has room for, because an "
                    "appointment that should leave it cannot be moved.",
                    where="proposal",
                    do="Nothing was booked. Propose anew.",
                )


def _kinds(visits: Iterable[Visit]) -> frozenset[CheckKind]:
    return frozenset().union(*(visit.kinds for visit in visits))


def _still_booked(line: Line, case: Case) -> Appointment | None:
    if not line.moves:
        return None
    found = next((a for a in case.appointments if a.id == line.moves), None)
    if found is None or found.outcome is not Outcome.BOOKED:
        raise RecordError(f"{line.moves} is not booked any more: it was changed by someone else.")
    return found
