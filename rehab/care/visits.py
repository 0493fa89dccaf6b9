"""Visits: the fewest trips that settle every check in its window, on days the clinic is open."""

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from rehab.care.case import Appointment, CheckKind
from rehab.care.checks import Check
from rehab.errors import RecordError

# Days that stand before the first and after the last one, and a cost above any real distance.
START, END, NEVER = 0, date.max.toordinal() + 1, 10**9


@dataclass(frozen=True, slots=True)
class Visit:
    """One trip on `on`; any open day from `earliest` to `latest` (inclusive) serves as well.

    `appointment` is the one that is booked on this day, where the plan knows it.
    """

    on: date
    earliest: date
    latest: date
    checks: tuple[Check, ...]
    booked: bool = False
    appointment: Appointment | None = None

    @property
    def kinds(self) -> frozenset[CheckKind]:
        return frozenset(check.kind for check in self.checks)


@dataclass(frozen=True, slots=True)
class Wish:
    """A trip from `earliest` to `latest` (inclusive), the nearer to `target` the better."""

    earliest: date
    target: date
    latest: date

    def __post_init__(self) -> None:
        if not self.earliest <= self.target <= self.latest:
            raise RecordError(
                f"the window from {self.earliest} to {self.latest} does not hold its target.",
                where=f"wish for {self.target}",
                do="Put the target into the window.",
            )


@dataclass(frozen=True, slots=True)
class _Demand:
    """A wish in day numbers, and how many checks share it."""

    earliest: int
    target: int
    latest: int
    weight: int


def plan_visits(
    checks: Sequence[Check],
    *,
    today: date,
    open_days: Sequence[date],
    booked: Sequence[date],
) -> tuple[tuple[Visit, ...], tuple[Check, ...]]:
    """The visits from `today` on, and the checks whose window holds no open or booked day.

    A booked day stays a visit on that day, also when no check needs it.
    """
    usable = sorted({*open_days, *booked})
    wished: list[tuple[Wish, Check]] = []
    shut_out: list[Check] = []
    for check in sorted(checks, key=lambda c: (c.kind, c.eye, c.target, c.key)):
        earliest = max(check.earliest, today)
        if bisect_left(usable, earliest) < bisect_right(usable, check.by):
            target = min(max(check.target, earliest), check.by)
            wished.append((Wish(earliest, target, check.by), check))
        else:
            shut_out.append(check)
    chosen = choose_days([wish for wish, _ in wished], open_days, booked)
    trips: dict[date, list[tuple[Wish, Check]]] = {day: [] for day in chosen}
    for wish, check in wished:
        trips[_nearest(chosen, wish)].append((wish, check))
    kept = frozenset(booked)
    visits = (_visit(day, trips[day], day in kept, usable) for day in chosen)
    return tuple(visits), tuple(shut_out)


def _nearest(chosen: Sequence[date], wish: Wish) -> date:
    inside = chosen[bisect_left(chosen, wish.earliest) : bisect_right(chosen, wish.latest)]
    return min(inside, key=lambda day: abs((day - wish.target).days))


def _visit(
    on: date, settled: Sequence[tuple[Wish, Check]], booked: bool, usable: Sequence[date]
) -> Visit:
    earliest = max((wish.earliest for wish, _ in settled), default=on)
    latest = min((wish.latest for wish, _ in settled), default=on)
    return Visit(
        on,
        usable[bisect_left(usable, earliest)],
        usable[bisect_right(usable, latest) - 1],
        tuple(check for _, check in settled),
        booked,
    )


def choose_days(
    wishes: Sequence[Wish], open_days: Sequence[date], fixed: Sequence[date]
) -> tuple[date, ...]:
    """All `fixed` days and the fewest open days that put a chosen day into every wish's window.

    Among these the least total of days between each target and the nearest chosen day in its
    window; among equals, the set whose first differing day is earlier. Raises RecordError when a
    window holds neither an open nor a fixed day.
    """
    counted = Counter(
        (w.target.toordinal(), w.earliest.toordinal(), w.latest.toordinal()) for w in wishes
    )
    demands = [
        _Demand(earliest, target, latest, weight)
        for (target, earliest, latest), weight in sorted(counted.items())
    ]
    days = _worth_trying(sorted({day.toordinal() for day in open_days}), demands)
    given = sorted({day.toordinal() for day in fixed})
    chosen = list(given)
    # A window is an interval around its target: the days chosen next to the target on either side
    # are the nearest inside it, if any is inside. So each stretch between fixed days is by itself.
    for before, after in pairwise((START, *given, END)):
        between = days[bisect_right(days, before) : bisect_left(days, after)]
        chosen += _days_between(before, after, between, _aimed_at(demands, before, after))
    return tuple(date.fromordinal(day) for day in sorted(chosen))


def _worth_trying(days: Sequence[int], demands: Sequence[_Demand]) -> list[int]:
    """The open days next to an end or the target of a window, on either side.

    Move one chosen day between two such marks while the others stay: each demand costs the lesser
    of a constant and a straight line, so the sum is concave and is least at an end of the stretch.
    At the marks themselves more windows are open, never fewer. A day that meets another one on its
    way would save a trip. So some best set has only these days, and so has the earliest of them.
    """
    marks = {mark for d in demands for mark in (d.earliest, d.target, d.latest)}
    before = {bisect_right(days, mark) - 1 for mark in marks}
    after = {bisect_left(days, mark) for mark in marks}
    return [days[at] for at in sorted(before | after) if 0 <= at < len(days)]


def _aimed_at(demands: Sequence[_Demand], start: int, until: int) -> Sequence[_Demand]:
    """The demands with a target from `start` to before `until`, out of demands in target order."""
    low = bisect_left(demands, start, key=lambda d: d.target)
    return demands[low : bisect_left(demands, until, key=lambda d: d.target)]


def _days_between(
    before: int, after: int, days: Sequence[int], demands: Sequence[_Demand]
) -> list[int]:
    """The best days to add between two days of travel."""
    windows = [(d.earliest, d.latest) for d in demands if before < d.earliest and d.latest < after]
    # With the fewest trips, trip k is never later than when every trip waits as long as it can,
    # and never earlier than the same seen from the end.
    last = _latest_trips(windows, days)
    mirrored = _latest_trips([(-late, -early) for early, late in windows], [-d for d in days[::-1]])
    stages = [
        [before],
        *(
            days[bisect_left(days, -low) : bisect_right(days, high)]
            for low, high in zip(reversed(mirrored), last, strict=True)
        ),
        [after],
    ]
    tail = [0]
    choices: list[list[int]] = []
    for here, there in reversed(list(pairwise(stages))):
        tail, choice = _best_next(here, there, tail, _aimed_at(demands, here[0], there[-1]))
        choices.append(choice)
    chosen: list[int] = []
    at = 0
    for stage, choice in zip(stages[1:-1], reversed(choices), strict=False):
        at = choice[at]
        chosen.append(stage[at])
    return chosen


def _latest_trips(windows: Sequence[tuple[int, int]], days: Sequence[int]) -> list[int]:
    """The fewest days that reach every window, each as late as it can be."""
    trips: list[int] = []
    for earliest, latest in sorted(windows, key=lambda w: w[1]):
        if trips and trips[-1] >= earliest:
            continue
        at = bisect_right(days, latest)
        if at == 0 or days[at - 1] < earliest:
            raise RecordError(
                f"no day is open from {date.fromordinal(earliest)} to {date.fromordinal(latest)}.",
                where="choosing days",
                do="Open a day in this window.",
            )
        trips.append(days[at - 1])
    return trips


def _best_next(
    here: Sequence[int], there: Sequence[int], tail: Sequence[int], demands: Sequence[_Demand]
) -> tuple[list[int], list[int]]:
    """For each day of `here`: the least cost from it on, and the place in `there` to go next.

    The cost of going from p to q is the sum, over targets in between, of the lesser of two costs:
    one falls as p grows, the other rises as q grows, and a day outside the window costs NEVER.
    Such a cost rises with q, so the search stops when it alone is too much; and a later p never
    has an earlier best q (the inequality of Monge), so the search starts at the last best q.
    Neither skips a better day, and the first of equals wins: exact, with the earliest days.
    """
    backward = [
        [
            0 if d.target < p else (d.target - p if d.earliest <= p else NEVER) * d.weight
            for d in demands
        ]
        for p in here
    ]
    forward = [
        [
            0 if q <= d.target else (q - d.target if q <= d.latest else NEVER) * d.weight
            for d in demands
        ]
        for q in there
    ]
    least_tail = min(tail)
    costs: list[int] = []
    choice: list[int] = []
    start = 0
    for p, from_p in zip(here, backward, strict=True):
        best = NEVER * NEVER
        for at in range(max(start, bisect_right(there, p)), len(there)):
            cost = sum(map(min, from_p, forward[at]))
            if cost + least_tail >= best:
                break
            if cost + tail[at] < best:
                best, start = cost + tail[at], at
        costs.append(best)
        choice.append(start)
    return costs, choice
