"""What is to be decided when visits are placed: counts of visits alike, and the aims in order."""

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass, replace
from datetime import date
from math import ceil, floor

from rehab.care.booking import URGENCIES, Opening, Placement, Request, Stage, sibling_groups, suits

# Solvers count in doubles: this little beyond a whole number is that number.
SLACK = 1e-4
# How many days off target one visit placed or one journey saved outweighs, to find bounds fast.
DAYS_WORTH = 1000.0
JOURNEYS, DAYS = len(URGENCIES), len(URGENCIES) + 1
AIMS = (
    *(f"visits of urgency {urgency} not placed" for urgency in URGENCIES),
    "journeys saved by siblings",
    "days off target",
)


@dataclass(frozen=True, slots=True)
class Model:
    """What is to be decided: how many visits of each sort go to each opening.

    A sort is visits that are alike in all that matters here; a sibling is a sort of its own.
    A column is (sort, opening, days off target). A meeting is one day of one group of siblings:
    for each member the columns that bring it on that day.
    """

    sorts: tuple[tuple[Request, ...], ...]
    openings: tuple[Opening, ...]
    columns: tuple[tuple[int, int, int], ...]
    meetings: tuple[tuple[tuple[int, ...], ...], ...]

    def value(self, aim: int, counts: Sequence[int]) -> int:
        """What the aim comes to: placed of one urgency, journeys saved, or days off target."""
        if aim == JOURNEYS:
            come = (sum(counts[c] for members in m for c in members) for m in self.meetings)
            return sum(max(children - 1, 0) for children in come)
        if aim == DAYS:
            return sum(days * n for (_, _, days), n in zip(self.columns, counts, strict=True))
        return sum(
            n
            for (sort, _, _), n in zip(self.columns, counts, strict=True)
            if self.sorts[sort][0].urgency == URGENCIES[aim]
        )

    def score(self, counts: Sequence[int]) -> tuple[int, ...]:
        """The less, the better."""
        return (*(-self.value(aim, counts) for aim in range(DAYS)), self.value(DAYS, counts))

    def come_at_all(self, counts: Sequence[int]) -> list[bool]:
        """For each meeting whether anybody comes."""
        return [any(counts[c] for members in m for c in members) for m in self.meetings]

    def trivial_bound(self, aim: int) -> int:
        if aim == DAYS:
            return 0
        if aim == JOURNEYS:
            return sum(len(meeting) - 1 for meeting in self.meetings)
        return self.wanted(aim)

    def wanted(self, aim: int) -> int:
        return sum(len(sort) for sort in self.sorts if sort[0].urgency == URGENCIES[aim])

    def all_costs(self) -> list[float]:
        """One sum in which each aim weighs more than those after it, as far as doubles allow."""
        farthest = max(days for _, _, days in self.columns)
        weight = 4.0 * farthest + 4.0
        total = self.costs(DAYS)
        for aim in reversed(range(DAYS)):
            total = [t + weight * c for t, c in zip(total, self.costs(aim), strict=True)]
            weight *= 10.0
        return total

    def part(
        self, sorts: Set[int], counts: Sequence[int], promising: Sequence[bool]
    ) -> tuple["Model", tuple[int, ...]]:
        """The model of these sorts alone, in the room that the others leave them, and the columns
        that it has of this one: the promising ones and those in use. Siblings must be among
        `sorts` together."""
        free = [opening.free_minutes for opening in self.openings]
        own: dict[int, int] = {}
        for column, ((sort, opening, _), count) in enumerate(
            zip(self.columns, counts, strict=True)
        ):
            if sort in sorts:
                if count or promising[column]:
                    own[column] = len(own)
            else:
                free[opening] -= count * self.sorts[sort][0].minutes
        number = {sort: n for n, sort in enumerate(sorted(sorts))}
        return Model(
            tuple(self.sorts[sort] for sort in number),
            tuple(
                replace(opening, free_minutes=minutes)
                for opening, minutes in zip(self.openings, free, strict=True)
            ),
            tuple((number[self.columns[c][0]], *self.columns[c][1:]) for c in own),
            tuple(
                tuple(tuple(own[c] for c in member if c in own) for member in meeting)
                for meeting in self.meetings
                if self.columns[meeting[0][0]][0] in sorts
            ),
        ), tuple(own)

    def together(self) -> list[set[int]]:
        """For each sort itself and those of its siblings."""
        found = [{sort} for sort in range(len(self.sorts))]
        for meeting in self.meetings:
            siblings = {self.columns[member[0]][0] for member in meeting}
            for sort in siblings:
                found[sort] |= siblings
        return found

    def costs(self, aim: int) -> list[float]:
        """To be made the least; one for each column, then one for each meeting."""
        meeting = [0.0] * len(self.meetings)
        if aim == DAYS:
            return [float(days) for _, _, days in self.columns] + meeting
        if aim == JOURNEYS:
            costs = [0.0] * len(self.columns) + [1.0] * len(self.meetings)
            for column in (c for members in self.meetings for member in members for c in member):
                costs[column] = -1.0
            return costs
        sought = URGENCIES[aim]
        of_sort = [-1.0 if sort[0].urgency == sought else 0.0 for sort in self.sorts]
        return [of_sort[sort] for sort, _, _ in self.columns] + meeting


def model_of(requested: Sequence[Request], held: tuple[Opening, ...]) -> Model:
    days = [opening.on for opening in held]
    groups = sibling_groups(requested, held)
    siblings = {request.key for group in groups for request in group}
    alike: dict[tuple[object, ...], list[Request]] = defaultdict(list)
    choices: dict[tuple[object, ...], tuple[int, ...]] = {}
    for request in requested:
        window = range(bisect_left(days, request.earliest), bisect_right(days, request.latest))
        suitable = tuple(n for n in window if suits(request, held[n]))
        own = request.key if request.key in siblings else ()
        sort: tuple[object, ...] = (request.urgency, request.target, request.minutes, suitable, own)
        if suitable:
            alike[sort].append(request)
            choices[sort] = suitable
    columns: list[tuple[int, int, int]] = []
    by_day: dict[tuple[str, str], dict[date, list[int]]] = {}
    for number, (sort, members) in enumerate(alike.items()):
        target = members[0].target
        own_days = by_day.setdefault(members[0].key, defaultdict(list))
        for n in choices[sort]:
            own_days[held[n].on].append(len(columns))
            columns.append((number, n, abs((held[n].on - target).days)))
    meetings = []
    for group in groups:
        for day in sorted({day for request in group for day in by_day[request.key]}):
            come = [tuple(by_day[r.key][day]) for r in group if day in by_day[r.key]]
            if len(come) > 1:
                meetings.append(tuple(come))
    return Model(tuple(map(tuple, alike.values())), held, tuple(columns), tuple(meetings))


def placements_of(model: Model, counts: Sequence[int]) -> Iterator[Placement]:
    waiting = [list(reversed(sort)) for sort in model.sorts]
    for (sort, opening, _), count in zip(model.columns, counts, strict=True):
        for _ in range(count):
            yield Placement(waiting[sort].pop(), model.openings[opening].id)


def weighed(model: Model, aim: int) -> list[float]:
    """The costs of one aim, with days off target to decide between equals."""
    return [
        DAYS_WORTH * cost + days
        for cost, days in zip(model.costs(aim), model.costs(DAYS), strict=True)
    ]


def to_be_whole(model: Model) -> Sequence[int]:
    """The columns that the solver must keep whole.

    Where all visits take equally long, openings count places, and what is left when the siblings
    are in theirs is a network: whole by itself at each of its corners.
    """
    if len({sort[0].minutes for sort in model.sorts}) > 1:
        return range(len(model.columns))
    return sorted({c for meeting in model.meetings for members in meeting for c in members})


def filled(model: Model, shares: Sequence[float]) -> list[int]:
    """The whole part of the shares as far as there is room, and on top what still fits, the most
    urgent and nearest to their targets first."""
    counts = [0] * len(shares)
    waiting = [len(sort) for sort in model.sorts]
    room = [opening.free_minutes for opening in model.openings]
    by_urgency = sorted(
        range(len(counts)),
        key=lambda c: (model.sorts[model.columns[c][0]][0].urgency, model.columns[c][2]),
    )
    for whole_part in (True, False):
        for column in by_urgency:
            sort, opening, _ = model.columns[column]
            minutes = model.sorts[sort][0].minutes
            more = min(waiting[sort], room[opening] // minutes)
            if whole_part:
                more = min(more, max(int(shares[column] + SLACK), 0))
            counts[column] += more
            waiting[sort] -= more
            room[opening] -= more * minutes
    return counts


def elsewhere(
    model: Model, together: Sequence[set[int]], counts: Sequence[int], shares: Sequence[float]
) -> set[int]:
    """The sorts, with their siblings', of which some visit is not where the shares have it."""
    found: set[int] = set()
    for (sort, _, _), count, share in zip(model.columns, counts, shares, strict=False):
        if abs(count - share) > SLACK:
            found |= together[sort]
    return found


def pieces(
    model: Model,
    together: Sequence[set[int]],
    counts: Sequence[int],
    promising: Sequence[bool],
    columns: int,
) -> Iterator[set[int]]:
    """The sorts that are, or have visits that wait and could be, in a run of openings."""
    at: list[set[int]] = [set() for _ in model.openings]
    placed = [0] * len(model.sorts)
    for (sort, _, _), count in zip(model.columns, counts, strict=True):
        placed[sort] += count
    for (sort, opening, _), count in zip(model.columns, counts, strict=True):
        if count or placed[sort] < len(model.sorts[sort]):
            at[opening] |= together[sort]
    choices = Counter(c[0] for c, use in zip(model.columns, promising, strict=True) if use)
    start = 0
    while start < len(at):
        end, piece = start, set[int]()
        while end < len(at) and sum(choices[sort] for sort in piece) < columns:
            piece |= at[end]
            end += 1
        yield piece
        if end == len(at):
            return
        start = max(start + 1, (start + end) // 2)


def whole_bound(aim: int, objective: float) -> int:
    """What no placement can pass, when no costs of the aim are below the objective."""
    return ceil(objective - SLACK) if aim == DAYS else floor(SLACK - objective)


def stage_of(model: Model, aim: int, found: int, bound: int) -> Stage:
    if aim in (JOURNEYS, DAYS):
        return Stage(AIMS[aim], found, bound)
    wanted = model.wanted(aim)
    return Stage(AIMS[aim], wanted - found, wanted - bound)
