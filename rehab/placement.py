"""The best placement of many visits into clinic sessions, by exact integer programming.

Aims, each settled before the next: the fewest visits of urgency 1 without a place, then of 2, 3
and 4; the most journeys saved by siblings who come on one day; the fewest days off the targets,
early and late alike. So bringing siblings together never costs anyone a place, and is worth any
number of days.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import accumulate
from math import ceil, floor, gcd, inf
from typing import Any

from rehab.care.booking import (
    URGENCIES,
    Opening,
    Proposal,
    Request,
    Stage,
    check_placement,
    in_order,
    rules_broken,
)
from rehab.care.booking_model import AIMS, DAYS, JOURNEYS, Model, model_of, placements_of
from rehab.care.booking_reasons import reasons_apart, reasons_not_placed
from rehab.errors import RehabError

# The solver counts in doubles: a bound this little beyond a whole number is that number.
SLACK = 1e-4
# A model with more columns is improved piece by piece before it is searched as a whole.
COLUMNS_AT_ONCE, NODES_PER_PIECE, NO_LIMIT = 1500, 5, 2**31 - 1
# One thread and a fixed seed: the same model has the same answer. A gap below 1 in whole numbers
# is none.
OPTIONS = {
    "output_flag": False,
    "threads": 1,
    "random_seed": 1,
    "mip_rel_gap": 0.0,
    "mip_abs_gap": 0.99,
}


def propose(
    requests: Sequence[Request], openings: Sequence[Opening], *, seconds: float = 60.0
) -> Proposal:
    """The proposal is the same whatever order the arguments come in, unless the search ran out of
    its `seconds`: then it is the best found, and its stages say what is proven."""
    if not seconds > 0:
        raise RehabError(
            f"a search of {seconds} seconds finds nothing.",
            where="placing visits",
            do="Allow it more than 0 seconds.",
        )
    requested, held = in_order(requests, openings)
    model = model_of(requested, held)
    counts, stages = (
        _Search(model, seconds).best()
        if model.columns
        else ([], tuple(Stage(aim, 0, 0) for aim in AIMS))
    )
    placed = tuple(sorted(placements_of(model, counts), key=lambda p: p.request.key))
    check = check_placement if all(stage.proven for stage in stages) else rules_broken
    if broken := check(requested, held, placed):
        raise RehabError(
            f"the placement found breaks its own rules: {broken[0]}",
            where="placing visits",
            do="Report this with the visits and sessions that were asked for.",
        )
    return Proposal(
        placed,
        reasons_not_placed(requested, held, placed),
        reasons_apart(requested, held, placed),
        model.value(DAYS, counts),
        stages,
    )


class _Search:
    """The solver with the model in it, and the search for the best counts of its columns."""

    def __init__(self, model: Model, seconds: float) -> None:
        self.model, self.seconds = model, seconds
        self.most = [
            min(
                len(model.sorts[sort]),
                model.openings[opening].free_minutes // model.sorts[sort][0].minutes,
            )
            for sort, opening, _ in model.columns
        ]
        self.to_be_whole = _to_be_whole(model)
        self.aim_rows = len(model.sorts) + len(model.openings)
        self.solver = _loaded(model, self.most)

    def best(self) -> tuple[list[int], tuple[Stage, ...]]:
        """Each aim has a bound from the relaxation in which visits may be split. A placement that
        reaches them all is the best; where it falls short, the aim is searched by itself."""
        aims = range(len(AIMS))
        # From where this one ends, the aims one by one are a few steps away.
        self._run(self.model.all_costs())
        bounds = []
        for aim in aims:
            bounds.append(self._bound(aim))
            self._settle(aim, bounds[aim])
        counts = self._filled()
        for aim in aims:
            self._settle(aim, None)
        if len(self.to_be_whole) > COLUMNS_AT_ONCE:
            counts = self._improved_by_pieces(counts, bounds)
        stages: list[Stage] = []
        loosened = False
        for aim in aims:
            bound = bounds[aim]
            if loosened:
                bound = self._bound(aim)
            if self.model.value(aim, counts) != bound:
                bound, counts = self._searched(aim, bound, counts)
            found = self.model.value(aim, counts)
            loosened = loosened or found != bounds[aim]
            self._settle(aim, found)
            stages.append(_stage(self.model, aim, found, bound))
        return counts, tuple(stages)

    def _bound(self, aim: int) -> int:
        """What no placement can pass, from the relaxation in which visits may be split."""
        if self._run(self.model.costs(aim)):
            return _whole_bound(aim, self.solver.getObjectiveValue())
        return self.model.trivial_bound(aim)

    def _searched(self, aim: int, bound: int, counts: list[int]) -> tuple[int, list[int]]:
        """A better bound and better counts for one aim; all but the last leave half of the time."""
        share = 1.0 if aim == DAYS else 0.5
        self._make_whole(True)
        self._run(self.model.costs(aim), start=counts, seconds=share * self._left())
        proven = self.solver.getInfo().mip_dual_bound
        counts = self._better(counts)
        self._make_whole(False)
        if abs(proven) < inf:
            choose = max if aim == DAYS else min
            bound = choose(bound, _whole_bound(aim, proven))
        return bound, counts

    def _improved_by_pieces(self, counts: list[int], bounds: Sequence[int]) -> list[int]:
        """Sessions that follow one another are filled anew while all others stay as they are,
        from the first to the last and again, until a round betters nothing."""
        costs = self.model.all_costs()
        best = (*(-bound for bound in bounds[:DAYS]), bounds[DAYS])
        self._make_whole(True)
        self.solver.setOptionValue("mip_max_nodes", NODES_PER_PIECE)
        before: tuple[int, ...] = ()
        while before != (before := self.model.score(counts)):
            for piece in _pieces(self.model):
                if self.model.score(counts) == best or self._left() < self.seconds / 2:
                    break
                free = [opening in piece for _, opening, _ in self.model.columns]
                self._limit(
                    [0 if f else n for f, n in zip(free, counts, strict=True)],
                    [m if f else n for f, m, n in zip(free, self.most, counts, strict=True)],
                )
                self._run(costs, start=counts, seconds=self._left() - self.seconds / 2)
                counts = self._better(counts)
        self._limit([0] * len(counts), self.most)
        self.solver.setOptionValue("mip_max_nodes", NO_LIMIT)
        self._make_whole(False)
        return counts

    def _filled(self) -> list[int]:
        """The whole part of what the solver holds, and on top what still fits, one by one."""
        model = self.model
        shares = self.solver.getSolution().col_value[: len(model.columns)]
        counts = [int(share + SLACK) for share in shares] or [0] * len(model.columns)
        waiting = [len(sort) for sort in model.sorts]
        room = [opening.free_minutes for opening in model.openings]
        for (sort, opening, _), count in zip(model.columns, counts, strict=True):
            waiting[sort] -= count
            room[opening] -= count * model.sorts[sort][0].minutes
        by_urgency = sorted(
            range(len(counts)),
            key=lambda c: (model.sorts[model.columns[c][0]][0].urgency, model.columns[c][2]),
        )
        for column in by_urgency:
            sort, opening, _ = model.columns[column]
            minutes = model.sorts[sort][0].minutes
            more = min(waiting[sort], room[opening] // minutes)
            counts[column] += more
            waiting[sort] -= more
            room[opening] -= more * minutes
        return counts

    def _better(self, counts: list[int]) -> list[int]:
        """What the solver found, if it is whole and better by all aims in their order."""
        values = self.solver.getSolution().col_value[: len(counts)]
        rounded = [round(value) for value in values]
        whole = all(abs(v - n) < SLACK for v, n in zip(values, rounded, strict=False))
        if len(values) < len(counts) or not whole:
            return counts
        return min(counts, rounded, key=self.model.score)

    def _left(self) -> float:
        return self.seconds - float(self.solver.getRunTime())

    def _run(
        self, costs: list[float], *, start: list[int] | None = None, seconds: float | None = None
    ) -> bool:
        """Whether the least total of these costs was found in the time."""
        import highspy

        limit = self._left() if seconds is None else seconds
        if limit <= 0:
            self.solver.clearSolver()
            return False
        self.solver.setOptionValue("time_limit", limit)
        self.solver.changeColsCost(len(costs), list(range(len(costs))), costs)
        if start is not None:
            solution = highspy.HighsSolution()
            solution.col_value = [*map(float, start), *map(float, self.model.come_at_all(start))]
            self.solver.setSolution(solution)
        if self.solver.run() == highspy.HighsStatus.kError:
            raise RehabError(
                "the solver stopped without an answer.",
                where="placing visits",
                do="Report this with the visits and sessions that were asked for.",
            )
        return bool(self.solver.getModelStatus() == highspy.HighsModelStatus.kOptimal)

    def _settle(self, aim: int, value: int | None) -> None:
        """No later answer falls behind `value`; None lets go of it. The last aim needs none."""
        if aim != DAYS:
            least = -inf if value is None else float(value)
            self.solver.changeRowBounds(self.aim_rows + aim, least, inf)

    def _limit(self, low: Sequence[int], high: Sequence[int]) -> None:
        columns = list(range(len(low)))
        self.solver.changeColsBounds(
            len(low), columns, list(map(float, low)), list(map(float, high))
        )

    def _make_whole(self, whole: bool) -> None:
        import highspy

        kind = highspy.HighsVarType.kInteger if whole else highspy.HighsVarType.kContinuous
        for column in self.to_be_whole:
            self.solver.changeColIntegrality(column, kind)


def _to_be_whole(model: Model) -> Sequence[int]:
    """The columns that the solver must keep whole.

    Where all visits take equally long, openings count places, and what is left when the siblings
    are in theirs is a network: whole by itself at each of its corners.
    """
    if len({sort[0].minutes for sort in model.sorts}) > 1:
        return range(len(model.columns))
    return sorted({c for meeting in model.meetings for members in meeting for c in members})


def _loaded(model: Model, most: Sequence[int]) -> Any:
    """A solver with the columns of the model and of its meetings, and one row for each sort, for
    each opening, for each aim but the last, and for each member of each meeting."""
    import highspy
    from highspy._core import _Highs  # the public class prints a banner when it is made

    unit = gcd(*(sort[0].minutes for sort in model.sorts))
    aims = len(model.sorts) + len(model.openings)
    entries: list[list[tuple[int, float]]] = []
    for sort, opening, _ in model.columns:
        first = model.sorts[sort][0]
        entries.append(
            [
                (sort, 1.0),
                (len(model.sorts) + opening, float(first.minutes // unit)),
                (aims + URGENCIES.index(first.urgency), 1.0),
            ]
        )
    row = aims + DAYS
    for meeting in model.meetings:
        comes_at_all: list[tuple[int, float]] = [(aims + JOURNEYS, -1.0)]
        for member in meeting:
            for column in member:
                entries[column] += [(aims + JOURNEYS, 1.0), (row, 1.0)]
            comes_at_all.append((row, -1.0))
            row += 1
        entries.append(comes_at_all)
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(entries), row
    lp.col_cost_ = [0.0] * len(entries)
    lp.col_lower_ = [0.0] * len(entries)
    lp.col_upper_ = [*map(float, most), *([1.0] * len(model.meetings))]
    lp.row_lower_ = [-inf] * row
    lp.row_upper_ = [
        *(float(len(sort)) for sort in model.sorts),
        *(float(opening.free_minutes // unit) for opening in model.openings),
        *([inf] * DAYS),
        *([0.0] * (row - aims - DAYS)),
    ]
    lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    lp.a_matrix_.start_ = [0, *accumulate(len(column) for column in entries)]
    lp.a_matrix_.index_ = [row for column in entries for row, _ in column]
    lp.a_matrix_.value_ = [value for column in entries for _, value in column]
    solver = _Highs()
    for option, value in OPTIONS.items():
        solver.setOptionValue(option, value)
    solver.passModel(lp)
    return solver


def _pieces(model: Model) -> Iterator[range]:
    """Runs of openings with about COLUMNS_AT_ONCE columns, each from the middle of the last."""
    per_opening = Counter(opening for _, opening, _ in model.columns)
    start = 0
    while start < len(model.openings):
        end, columns = start, 0
        while end < len(model.openings) and (end == start or columns < COLUMNS_AT_ONCE):
            columns += per_opening[end]
            end += 1
        yield range(start, end)
        if end == len(model.openings):
            return
        start = max(start + 1, (start + end) // 2)


def _whole_bound(aim: int, objective: float) -> int:
    return ceil(objective - SLACK) if aim == DAYS else floor(SLACK - objective)


def _stage(model: Model, aim: int, found: int, bound: int) -> Stage:
    if aim in (JOURNEYS, DAYS):
        return Stage(AIMS[aim], found, bound)
    wanted = model.wanted(aim)
    return Stage(AIMS[aim], wanted - found, wanted - bound)
