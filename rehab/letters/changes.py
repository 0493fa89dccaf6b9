"""What a family was told by its last letter, and what of it is no longer so."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from itertools import groupby
from typing import Any

from rehab.care.case import CheckKind, Eye, Method
from rehab.letters.home import ONE_DAY, Hours, Purpose, Trip, dose_of

# The letters that tell a family its hours, its visits, the numbers and the notes.
TELLING = ("family", "changes")


@dataclass(frozen=True, slots=True)
class ToldVisit:
    """A visit as it was told; `place` is the name of the place, "" for the clinic's own."""

    on: date
    booked: bool
    starts_minute: int | None
    place: str
    purposes: tuple[Purpose, ...]


@dataclass(frozen=True, slots=True)
class Told:
    """All that a family goes by, as a letter told it on a day; kept with the letter's words."""

    on: date
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
    """The next visit for one kind of check, or for nothing but the booking (`purpose` None)."""

    purpose: Purpose | None
    before: ToldVisit | None
    now: Trip | None


@dataclass(frozen=True, slots=True)
class Changes:
    """What is no longer as it was told; `numbers` and `written` say that those differ."""

    since: date
    hours: tuple[HoursChange, ...]
    visits: tuple[VisitChange, ...]
    numbers: bool
    written: bool

    @property
    def any(self) -> bool:
        return bool(self.hours or self.visits or self.numbers or self.written)


def told_visit(trip: Trip) -> ToldVisit:
    place = trip.place.name if trip.place else ""
    return ToldVisit(trip.on, trip.booked, trip.starts_minute, place, trip.purposes)


def changes_of(told: Told, now: Told, trips: Sequence[Trip], *, seen_today: bool) -> Changes:
    """`now` is what would be told today; `trips` are all that are planned, also those that a
    letter has no room for. With `seen_today` what was told of today is over.
    """
    today = now.on
    ahead = today + ONE_DAY if seen_today else today
    return Changes(
        since=told.on,
        hours=tuple(_hours(told.hours, now.hours, today)),
        visits=tuple(_visits(told.visits, now.visits, trips, ahead)),
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


def _dose(row: Hours | None) -> tuple[Eye, int, int, Method] | None:
    return dose_of(row) if row else None


def _visits(
    told: Sequence[ToldVisit], shown: Sequence[ToldVisit], trips: Sequence[Trip], ahead: date
) -> Iterator[VisitChange]:
    for kind in (*CheckKind, None):
        trip = next((t for t in trips if t.on >= ahead and _serves(t, kind)), None)
        mine = [visit for visit in told if _serves(visit, kind)]
        before = next((visit for visit in mine if visit.on >= ahead), None)
        if before is None and trip and trip.overdue and mine:
            # A day that went by without the check is what the family was last told of it.
            before = mine[-1]
        if before is None and trip and told_visit(trip) not in shown:
            # Too far off for a letter, then as now.
            continue
        if _said(before, kind) != _said(told_visit(trip) if trip else None, kind):
            purpose = _purpose(trip, kind) or _purpose(before, kind)
            yield VisitChange(purpose, before, trip)


def _serves(visit: Trip | ToldVisit, kind: CheckKind | None) -> bool:
    return _purpose(visit, kind) is not None if kind else not visit.purposes


def _purpose(visit: Trip | ToldVisit | None, kind: CheckKind | None) -> Purpose | None:
    return next((p for p in visit.purposes if p.kind is kind), None) if visit else None


def _said(visit: ToldVisit | None, kind: CheckKind | None) -> tuple[object, ...] | None:
    if visit is None:
        return None
    purpose = _purpose(visit, kind)
    eyes = purpose.eyes if purpose else ()
    return visit.on, visit.booked, visit.starts_minute, visit.place, eyes


def told_record(told: Told) -> dict[str, Any]:
    """`told` as JSON has it; `told_from` reads it."""
    record: dict[str, Any] = json.loads(json.dumps(asdict(told), default=date.isoformat))
    return record


def told_from(record: dict[str, Any]) -> Told:
    return Told(
        on=date.fromisoformat(record["on"]),
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
        date.fromisoformat(visit["on"]),
        visit["booked"],
        visit["starts_minute"],
        visit["place"],
        purposes,
    )
