"""Visits that want a place in a clinic session: the records, who suits what, and a full check."""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import pairwise

from rehab.care.case import CheckKind
from rehab.care.contacts import Limits
from rehab.errors import RecordError
from rehab.measures.clock import MINUTES_PER_DAY

MOST_URGENT, LEAST_URGENT = 1, 4
URGENCIES = range(MOST_URGENT, LEAST_URGENT + 1)
NO_LIMITS = Limits()


class Obstacle(StrEnum):
    """What the family has stated, or not, that keeps it from a session."""

    WEEKDAY = "its weekday"
    HOUR = "its hour"
    DISTANCE = "its distance"
    DISTANCE_NOT_KNOWN = "a distance that is not recorded"


@dataclass(frozen=True, slots=True)
class Opening:
    """One clinic session with the room it has left; `starts_minute` is local, after midnight."""

    id: str
    site: str
    on: date
    starts_minute: int
    free_minutes: int
    kinds: frozenset[CheckKind]

    def __post_init__(self) -> None:
        if self.free_minutes < 0:
            raise RecordError(
                f"{self.free_minutes} minutes are left.",
                where=f"session {self.id}",
                do="Say 0 for a session that is full.",
            )
        if not 0 <= self.starts_minute < MINUTES_PER_DAY:
            raise RecordError(
                f"minute {self.starts_minute} is not in a day.",
                where=f"session {self.id}",
                do=f"Count minutes after midnight, from 0 to {MINUTES_PER_DAY - 1}.",
            )


@dataclass(frozen=True, slots=True)
class Request:
    """One visit of one child that wants a place from `earliest` to `latest` (inclusive).

    `visit` is unique within the child, one session must offer all `kinds`, urgency 1 is the most
    urgent, and children with the same `family` (not "") are siblings.
    """

    child_number: str
    visit: str
    earliest: date
    target: date
    latest: date
    minutes: int
    kinds: frozenset[CheckKind]
    urgency: int
    family: str = ""
    limits: Limits = NO_LIMITS

    @property
    def key(self) -> tuple[str, str]:
        return self.child_number, self.visit

    @property
    def label(self) -> str:
        return f"{self.child_number}, visit {self.visit}"

    def __post_init__(self) -> None:
        if not self.earliest <= self.target <= self.latest:
            raise RecordError(
                f"the window from {self.earliest} to {self.latest} does not hold its target "
                f"{self.target}.",
                where=self.label,
                do="Put the target into the window.",
            )
        if self.minutes < 1:
            raise RecordError(
                f"a visit cannot take {self.minutes} minutes.",
                where=self.label,
                do="Say how many minutes it takes, 1 or more.",
            )
        if self.urgency not in URGENCIES:
            raise RecordError(
                f"urgency {self.urgency} does not exist.",
                where=self.label,
                do=f"Say {MOST_URGENT} (most urgent) to {LEAST_URGENT}.",
            )


@dataclass(frozen=True, slots=True)
class Placement:
    """One visit in one session."""

    request: Request
    opening_id: str


@dataclass(frozen=True, slots=True)
class NotPlaced:
    """A visit without a place: `why` is true of these sessions, `do` the next step of a person."""

    request: Request
    why: str
    do: str


@dataclass(frozen=True, slots=True)
class Apart:
    """Visits of siblings that had a day in common, and come on several."""

    requests: tuple[Request, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Stage:
    """One aim, settled after those before it: what was `found`, and that none can pass `bound`."""

    aim: str
    found: int
    bound: int

    @property
    def proven(self) -> bool:
        return self.found == self.bound

    @property
    def gap(self) -> float:
        """How far `found` may be from the best, as a share of the larger of the two."""
        return 0.0 if self.proven else abs(self.found - self.bound) / max(self.found, self.bound)


@dataclass(frozen=True, slots=True)
class Proposal:
    """Where each visit would go. Every stage counts only visits that some session suits."""

    placed: tuple[Placement, ...]
    not_placed: tuple[NotPlaced, ...]
    apart: tuple[Apart, ...]
    days_off_target: int
    stages: tuple[Stage, ...]

    @property
    def proven(self) -> bool:
        return all(stage.proven for stage in self.stages)


def in_order(
    requests: Iterable[Request], openings: Iterable[Opening]
) -> tuple[tuple[Request, ...], tuple[Opening, ...]]:
    """Both in an order of their own, whatever order they came in; RecordError where one repeats."""
    requested = sorted(requests, key=lambda r: r.key)
    for one, other in pairwise(requested):
        if one.key == other.key:
            raise RecordError(
                "this visit asks for a place twice.", where=one.label, do="Ask once for each visit."
            )
    open_sessions = sorted(openings, key=lambda o: (o.on, o.starts_minute, o.id))
    seen: set[str] = set()
    for opening in open_sessions:
        if opening.id in seen:
            raise RecordError(
                "two sessions have this name.",
                where=f"session {opening.id}",
                do="Give each session a name of its own.",
            )
        seen.add(opening.id)
    return tuple(requested), tuple(open_sessions)


def obstacles(limits: Limits, opening: Opening) -> tuple[Obstacle, ...]:
    """Which of the family's limits rule this session out."""
    found = []
    if limits.weekdays and opening.on.weekday() not in limits.weekdays:
        found.append(Obstacle.WEEKDAY)
    if limits.not_before_minute is not None and opening.starts_minute < limits.not_before_minute:
        found.append(Obstacle.HOUR)
    if limits.farthest_km is not None:
        distance_km = dict(limits.distances_km).get(opening.site)
        if distance_km is None:
            found.append(Obstacle.DISTANCE_NOT_KNOWN)
        elif distance_km > limits.farthest_km:
            found.append(Obstacle.DISTANCE)
    return tuple(found)


def in_window(request: Request, openings: Sequence[Opening]) -> Sequence[Opening]:
    """Of openings in order of their day."""
    first = bisect_left(openings, request.earliest, key=lambda o: o.on)
    return openings[first : bisect_right(openings, request.latest, key=lambda o: o.on)]


def suits(request: Request, opening: Opening) -> bool:
    """Whether the visit could go there if nobody else came."""
    return (
        request.earliest <= opening.on <= request.latest
        and request.kinds <= opening.kinds
        and request.minutes <= opening.free_minutes
        and not obstacles(request.limits, opening)
    )


def sibling_groups(
    requests: Sequence[Request], openings: Sequence[Opening]
) -> tuple[tuple[Request, ...], ...]:
    """Visits of siblings that should come on one day: two or more, at most one of each child.

    Within a family, in order of their targets, each visit joins the group with the nearest target
    that does not hold its child yet and with which it shares a day: one on which all of them
    suit sessions that, empty of others, have room for all. Else it starts a group.
    """
    families: dict[str, list[Request]] = defaultdict(list)
    for request in requests:
        if request.family:
            families[request.family].append(request)
    groups: list[list[Request]] = []
    for _, members in sorted(families.items()):
        mine: list[list[Request]] = []
        for request in sorted(members, key=lambda r: (r.target, r.key)):
            joined = next(
                (
                    group
                    for group in sorted(mine, key=lambda g: g[-1].target, reverse=True)
                    if request.child_number not in {r.child_number for r in group}
                    and any(_common_days([*group, request], openings, {}))
                ),
                None,
            )
            if joined is None:
                mine.append([request])
            else:
                joined.append(request)
        groups += mine
    return tuple(tuple(group) for group in groups if len(group) > 1)


def _common_days(
    group: Sequence[Request], openings: Sequence[Opening], taken: Mapping[str, int]
) -> Iterator[date]:
    """The days on which all of the group find room; `taken` are minutes others have."""
    by_day: dict[date, list[Opening]] = defaultdict(list)
    for opening in in_window(group[0], openings):
        by_day[opening.on].append(opening)
    for day, held in by_day.items():
        choices = [[o.id for o in held if suits(r, o)] for r in group]
        room = {o.id: o.free_minutes - taken.get(o.id, 0) for o in held}
        if all(choices) and _fit([r.minutes for r in group], choices, room):
            yield day


def _fit(minutes: Sequence[int], choices: Sequence[Sequence[str]], room: Mapping[str, int]) -> bool:
    if not minutes:
        return True
    return any(
        minutes[0] <= room[id]
        and _fit(minutes[1:], choices[1:], {**room, id: room[id] - minutes[0]})
        for id in choices[0]
    )


def siblings_apart(
    requests: Sequence[Request], openings: Sequence[Opening], placements: Sequence[Placement]
) -> tuple[tuple[tuple[Request, ...], date | None], ...]:
    """Groups of siblings that come on several days, and a day that has room for all if one has."""
    requested, held = in_order(requests, openings)
    days = {opening.id: opening.on for opening in held}
    place = {p.request.key: p for p in placements if p.opening_id in days}
    taken = _taken(place.values())
    found = []
    for group in sibling_groups(requested, held):
        come = tuple(r for r in group if r.key in place)
        if len({days[place[r.key].opening_id] for r in come}) < 2:
            continue
        others = dict(taken)
        for request in come:
            others[place[request.key].opening_id] -= request.minutes
        found.append((come, next(_common_days(come, held, others), None)))
    return tuple(found)


def _taken(placements: Iterable[Placement]) -> dict[str, int]:
    taken: dict[str, int] = defaultdict(int)
    for placement in placements:
        taken[placement.opening_id] += placement.request.minutes
    return taken


def check_placement(
    requests: Sequence[Request], openings: Sequence[Opening], placements: Sequence[Placement]
) -> tuple[str, ...]:
    """Every rule that the placements break, each as a sentence; () when they may be booked, and
    siblings who could come on one day do."""
    in_vain = (
        f"{' and '.join(r.label for r in group)}: siblings come on different days, and all could "
        f"on {day}."
        for group, day in siblings_apart(requests, openings, placements)
        if day is not None
    )
    return (*rules_broken(requests, openings, placements), *in_vain)


def rules_broken(
    requests: Sequence[Request], openings: Sequence[Opening], placements: Sequence[Placement]
) -> tuple[str, ...]:
    """Of these rules those without which nothing can be booked."""
    requested, held = in_order(requests, openings)
    asked = {r.key: r for r in requested}
    sessions = {o.id: o for o in held}
    broken: list[str] = []
    seen: set[tuple[str, str]] = set()
    for placement in placements:
        request, opening = placement.request, sessions.get(placement.opening_id)
        if asked.get(request.key) != request:
            broken.append(f"{request.label}: no such visit asked for a place.")
        if request.key in seen:
            broken.append(f"{request.label}: it is placed twice.")
        seen.add(request.key)
        if opening is None:
            broken.append(f"{request.label}: there is no session {placement.opening_id}.")
        else:
            broken += (f"{request.label}: {rule}" for rule in _broken_by(request, opening))
    for id, minutes in _taken(placements).items():
        if id in sessions and minutes > sessions[id].free_minutes:
            broken.append(
                f"session {id}: {minutes} minutes are placed in {sessions[id].free_minutes}."
            )
    return tuple(broken)


def _broken_by(request: Request, opening: Opening) -> Iterator[str]:
    if not request.earliest <= opening.on <= request.latest:
        yield f"{opening.on} is outside {request.earliest} to {request.latest}."
    if missing := sorted(request.kinds - opening.kinds):
        yield f"session {opening.id} does not offer {in_words(missing)}."
    for obstacle in obstacles(request.limits, opening):
        yield f"the family's limits rule out session {opening.id}: {obstacle}."


def left_out(
    requests: Sequence[Request], openings: Sequence[Opening], placements: Sequence[Placement]
) -> tuple[str, ...]:
    """Each visit without a place for which one suitable session has room, counting as room what
    less urgent visits hold there."""
    requested, held = in_order(requests, openings)
    placed = {p.request.key for p in placements}
    wrong = []
    for request in requested:
        if request.key in placed:
            continue
        firm = _taken(p for p in placements if p.request.urgency <= request.urgency)
        for opening in in_window(request, held):
            if suits(request, opening) and firm.get(opening.id, 0) + request.minutes <= (
                opening.free_minutes
            ):
                wrong.append(f"{request.label}: left out, yet session {opening.id} could take it.")
                break
    return tuple(wrong)


def in_words(kinds: Iterable[CheckKind]) -> str:
    return " and ".join(kind.value.replace("_", " ") for kind in kinds)
