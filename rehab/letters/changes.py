"""What a family was told by its last letter, and what of it is no longer so."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from itertools import groupby
from typing import Any

from rehab.care.case import CheckKind, Eye, Method
from rehab.care.changes import ONE_DAY
from rehab.letters.home import Hours, Patching, Purpose, Trip, dose_of

# The letters that tell a family its hours, its visits, the numbers and the notes.
TELLING = ("family", "changes")


@dataclass(frozen=True, slots=True)
class ToldVisit:
    """A visit as it was told; `place` is the name of the place, "" for the clinic's own."""

    on: date
    earliest: date
    latest: date
    booked: bool
    overdue: bool
    starts_minute: int | None
    place: str
    purposes: tuple[Purpose, ...]


@dataclass(frozen=True, slots=True)
class Told:
    """All that a family goes by, as a letter told it on a day; kept with the letter's words.

    `clinic` is its name and address, `urgency` how soon to ring about a finding, `drops` the eye
    whose sight drops lower; `numbers` are the telephone numbers, `written` the prescriptions.
    """

    on: date
    clinic: tuple[str, str]
    urgency: str
    patching: Patching
    drops: Eye | None
    hours: tuple[Hours, ...]
    visits: tuple[ToldVisit, ...]
    numbers: tuple[str, ...]
    written: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HoursChange:
    """Days on which other hours hold than were told; None where nothing is agreed."""

    start: date
    last: date
    before: Hours | None
    now: Hours | None


@dataclass(frozen=True, slots=True)
class VisitChange:
    """A visit before and now, for some kinds of check or for nothing but the booking; None where
    there is none.

    `eyes_before` are those of the check where other ones were told; `stands` says that the booking
    of before holds, `gone` that nothing is booked on its day.
    """

    purposes: tuple[Purpose, ...]
    before: ToldVisit | None
    now: Trip | None
    eyes_before: tuple[Eye, ...] = ()
    stands: bool = False
    gone: bool = False


@dataclass(frozen=True, slots=True)
class Changes:
    """What is no longer as it was told; `patching` (whether, and by drops), `clinic`, `numbers` and
    `written` say that those differ, `urgent` that a finding now cannot wait."""

    since: date
    urgent: bool
    hours: tuple[HoursChange, ...]
    patching: bool
    visits: tuple[VisitChange, ...]
    clinic: bool
    numbers: bool
    written: bool

    @property
    def any(self) -> bool:
        told = self.urgent or self.hours or self.visits
        return bool(told) or self.patching or self.clinic or self.numbers or self.written


def told_visit(trip: Trip) -> ToldVisit:
    place = trip.place.name if trip.place else ""
    return ToldVisit(
        on=trip.on,
        earliest=trip.earliest,
        latest=trip.latest,
        booked=trip.booked,
        overdue=trip.overdue,
        starts_minute=trip.starts_minute,
        place=place,
        purposes=trip.purposes,
    )


def changes_of(told: Told, now: Told, trips: Sequence[Trip], *, seen_today: bool) -> Changes:
    """`now` is what would be told today; `trips` are all that are planned, also those that a
    letter has no room for. With `seen_today` what was told of today is over.
    """
    today = now.on
    ahead = today + ONE_DAY if seen_today else today
    return Changes(
        since=told.on,
        urgent=bool(now.urgency) and now.urgency != told.urgency,
        hours=tuple(_hours(told.hours, now.hours, today)),
        patching=(told.patching, told.drops) != (now.patching, now.drops),
        visits=_visits(told.visits, now.visits, trips, ahead),
        clinic=told.clinic != now.clinic,
        numbers=told.numbers != now.numbers,
        written=told.written != now.written,
    )


def _hours(told: Sequence[Hours], now: Sequence[Hours], today: date) -> Iterator[HoursChange]:
    last = max((row.last for row in (*told, *now)), default=today)
    days = [today + ONE_DAY * n for n in range((last - today).days + 1)]
    pairs = ((on, _on(told, on), _on(now, on)) for on in days)
    for _, run in groupby(pairs, key=lambda pair: (_dose(pair[1]), _dose(pair[2]))):
        same = list(run)
        start, before, after = same[0]
        if _dose(before) != _dose(after):
            yield HoursChange(start, same[-1][0], before, after)


def _on(rows: Sequence[Hours], on: date) -> Hours | None:
    return next((row for row in rows if row.start <= on <= row.last), None)


def _dose(row: Hours | None) -> tuple[object, ...] | None:
    """What a family does; without a patch the eye and the method do not matter."""
    if row is None:
        return None
    return dose_of(row) if row.minutes_per_day else (0,)


def _visits(
    told: Sequence[ToldVisit], shown: Sequence[ToldVisit], trips: Sequence[Trip], ahead: date
) -> tuple[VisitChange, ...]:
    """The next visit for each check, then every booking that was not among these."""
    rows: dict[tuple[object, ...], VisitChange] = {}
    for row in _next_visits(told, shown, trips, ahead):
        key = row.before, row.now, row.eyes_before
        known = rows.get(key, replace(row, purposes=()))
        rows[key] = replace(known, purposes=(*known.purposes, *row.purposes))
    changed = tuple(rows.values())
    return changed + tuple(_other_bookings(told, trips, ahead, changed))


def _other_bookings(
    told: Sequence[ToldVisit], trips: Sequence[Trip], ahead: date, said: Sequence[VisitChange]
) -> Iterator[VisitChange]:
    booked = {trip.on: trip for trip in trips if trip.booked}
    was_booked = {visit.on: visit for visit in told if visit.booked}
    before = {row.before.on for row in said if row.before and row.before.booked}
    now = {row.now.on for row in said if row.now and row.now.booked}
    for on, visit in was_booked.items():
        trip = booked.get(on)
        same = trip is not None and _booking(told_visit(trip)) == _booking(visit)
        if on >= ahead and on not in before and not same:
            yield VisitChange(visit.purposes, visit, trip, gone=trip is None)
    for on, trip in booked.items():
        if on >= ahead and on not in now and on not in was_booked:
            yield VisitChange(trip.purposes, None, trip)


def _booking(visit: ToldVisit) -> tuple[object, ...]:
    return visit.on, visit.starts_minute, visit.place


def _next_visits(
    told: Sequence[ToldVisit], shown: Sequence[ToldVisit], trips: Sequence[Trip], ahead: date
) -> Iterator[VisitChange]:
    booked = {trip.on: told_visit(trip) for trip in trips if trip.booked}
    for kind in (*CheckKind, None):
        mine = [visit for visit in told if _serves(visit, kind)]
        before = next((visit for visit in mine if _is_ahead(visit, ahead)), None)
        coming = (trip for trip in trips if _serves(trip, kind))
        trip = next((trip for trip in coming if not trip.booked or trip.on >= ahead), None)
        now = told_visit(trip) if trip else None
        if before is None and trip and trip.overdue and mine:
            # Days that went by without the check are what the family was last told of it.
            before = mine[-1]
        if before is None and now not in shown:
            # Too far off for a letter, then as now.
            continue
        held = before if before and before.booked else None
        there = booked.get(held.on) if held else None
        stands = bool(held and there and _booking(held) == _booking(there))
        if (stands and now is None) or _same(before, now, kind, ahead):
            continue
        after, then = _purpose(trip, kind), _purpose(before, kind)
        other_eyes = after and then and after.eyes != then.eyes
        yield VisitChange(
            purposes=tuple(p for p in (after or then,) if p),
            before=before,
            now=trip,
            eyes_before=then.eyes if then and other_eyes else (),
            stands=stands,
            gone=held is not None and there is None,
        )


def _is_ahead(visit: ToldVisit, ahead: date) -> bool:
    """Whether a family that was told so still awaits it; what was due already, stays due."""
    return visit.on >= ahead if visit.booked else visit.overdue or visit.latest >= ahead


def _same(
    before: ToldVisit | None, now: ToldVisit | None, kind: CheckKind | None, ahead: date
) -> bool:
    if before is None or now is None:
        return before is now
    if before.booked != now.booked or _purpose(before, kind) != _purpose(now, kind):
        return False
    if now.booked:
        return _booking(before) == _booking(now)
    if before.overdue or now.overdue:
        return before.overdue and now.overdue
    # A best day that went by inside its window leaves the other days as good as they were told.
    best = before.on == now.on or before.on < ahead
    return best and (max(before.earliest, ahead), before.latest) == (
        max(now.earliest, ahead),
        now.latest,
    )


def _serves(visit: Trip | ToldVisit, kind: CheckKind | None) -> bool:
    return _purpose(visit, kind) is not None if kind else not visit.purposes


def _purpose(visit: Trip | ToldVisit | None, kind: CheckKind | None) -> Purpose | None:
    return next((p for p in visit.purposes if p.kind is kind), None) if visit else None


def told_record(told: Told) -> dict[str, Any]:
    """`told` as JSON has it; `told_from` reads it."""
    record: dict[str, Any] = json.loads(json.dumps(asdict(told), default=date.isoformat))
    return record


def told_from(record: dict[str, Any]) -> Told:
    return Told(
        on=date.fromisoformat(record["on"]),
        clinic=(record["clinic"][0], record["clinic"][1]),
        urgency=record["urgency"],
        patching=Patching(record["patching"]),
        drops=Eye(record["drops"]) if record["drops"] else None,
        hours=tuple(_hours_from(row) for row in record["hours"]),
        visits=tuple(_visit_from(visit) for visit in record["visits"]),
        numbers=tuple(record["numbers"]),
        written=tuple(record["written"]),
    )


def _hours_from(row: dict[str, Any]) -> Hours:
    return Hours(
        start=date.fromisoformat(row["start"]),
        last=date.fromisoformat(row["last"]),
        eye=Eye(row["eye"]),
        minutes_per_day=row["minutes_per_day"],
        days_per_week=row["days_per_week"],
        method=Method(row["method"]),
        now=row["now"],
    )


def _visit_from(visit: dict[str, Any]) -> ToldVisit:
    purposes = tuple(
        Purpose(CheckKind(p["kind"]), tuple(Eye(eye) for eye in p["eyes"]))
        for p in visit["purposes"]
    )
    return ToldVisit(
        on=date.fromisoformat(visit["on"]),
        earliest=date.fromisoformat(visit["earliest"]),
        latest=date.fromisoformat(visit["latest"]),
        booked=visit["booked"],
        overdue=visit["overdue"],
        starts_minute=visit["starts_minute"],
        place=visit["place"],
        purposes=purposes,
    )
