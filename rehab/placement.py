"""The best placement of many visits into clinic sessions, by exact integer programming.

Aims, each settled before the next: the fewest visits of urgency 1 without a place, then of 2, 3
and 4; the most journeys saved by siblings who come on one day; the fewest days off the targets,
early and late alike. So bringing siblings together never costs anyone a place, and is worth any
number of days.
"""

from collections.abc import Sequence
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
from rehab.care.booking_model import (
    AIMS,
    DAYS,
    JOURNEYS,
    SLACK,
    Model,
    elsewhere,
    filled,
    model_of,
    pieces,
    placements_of,
    stage_of,
    to_be_whole,
    weighed,
    whole_bound,
)
from rehab.care.booking_reasons import reasons_apart, reasons_not_placed
from rehab.errors import RehabError

# A model with more columns to be kept whole is improved piece by piece before it is searched as a
# whole, and one with many more is not searched as a whole: nothing would come of it in a minute.
COLUMNS_AT_ONCE, MOST_SEARCHED = 1500, 12_000
# (nodes, seconds) of one search, and the share of the time that they leave to what comes after.
PER_PIECE, PER_ROUND, NO_LIMIT = (5, 2.0), (100, 8.0), 2**31 - 1
KEPT = 0.15
# Splits are made whole in so many rounds at the most.
ROUNDS = 100
# How the solver names its ends: of those its bound holds.
OPTIMAL = "kOptimal"
SEARCHED = (OPTIMAL, "kTimeLimit", "kSolutionLimit")
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
    """The proposal does not depend on the order of the arguments.

    `seconds` are those of the solver; what is around it takes about a tenth more. A search that
    needs more gives the best that it found, which may depend on how fast the machine is, and the
    stages say how far that may be from the best there is.
    """
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
        self.model, self.seconds, self.spent = model, seconds, 0.0
        self.most = [
            min(
                len(model.sorts[sort]),
                model.openings[opening].free_minutes // model.sorts[sort][0].minutes,
            )
            for sort, opening, _ in model.columns
        ]
        self.to_be_whole = to_be_whole(model)
        self.aim_rows = len(model.sorts) + len(model.openings)
        self.solver = _loaded(model, self.most)

    def best(self) -> tuple[list[int], tuple[Stage, ...]]:
        """Each aim has a bound from the relaxation in which visits may be split. A placement that
        reaches them all is the best; where it falls short, the aim is searched by itself."""
        aims = range(len(AIMS))
        bounds = []
        for aim in aims:
            bounds.append(self._bound(aim))
            self._settle(aim, bounds[aim])
        relaxed = self.solver.getSolution()
        for aim in aims:
            self._settle(aim, None)
        counts = self._made_whole()
        best = (*(-bound for bound in bounds[:DAYS]), bounds[DAYS])
        if len(self.to_be_whole) > MOST_SEARCHED and relaxed.dual_valid:
            counts = self._improved_by_pieces(counts, best, relaxed)
        stages: list[Stage] = []
        loosened = False
        for aim in aims:
            bound = self._bound(aim) if loosened else bounds[aim]
            if self.model.value(aim, counts) != bound and len(self.to_be_whole) <= MOST_SEARCHED:
                bound, counts = self._searched(aim, bound, counts)
            found = self.model.value(aim, counts)
            loosened = loosened or found != bounds[aim]
            self._settle(aim, found)
            stages.append(stage_of(self.model, aim, found, bound))
        return counts, tuple(stages)

    def _bound(self, aim: int) -> int:
        """What no placement can pass, from the relaxation in which visits may be split.

        With days off target to decide between equals the solver is there in a fraction of the time
        that the bare aim takes it, and from there the bare aim is a step away.
        """
        if aim != DAYS:
            self._run(weighed(self.model, aim))
        if self._run(self.model.costs(aim)) == OPTIMAL:
            return whole_bound(aim, self.solver.getObjectiveValue())
        return self.model.trivial_bound(aim)

    def _searched(self, aim: int, bound: int, counts: list[int]) -> tuple[int, list[int]]:
        """A better bound and better counts for one aim; all but the last leave half of the time."""
        share = 1.0 if aim == DAYS else 0.5
        costs = self.model.costs(aim)
        found = self.model.value(aim, counts)
        self._keep_only_what_betters(costs, found if aim == DAYS else -found)
        self._make_whole(True)
        ran = self._run(costs, seconds=share * self._left())
        proven = self.solver.getInfo().mip_dual_bound
        better = self._better(counts)
        self._make_whole(False)
        self._limit([0] * len(counts), self.most)
        if ran == "kInfeasible":
            return found, counts
        if better is not counts and aim != DAYS:
            better = self._with_later_aims(aim, filled(self.model, better))
        found = self.model.value(aim, better)
        if ran in SEARCHED and abs(proven) < inf:
            # Only what is better than before was searched: what is found may be better than the
            # solver's bound.
            low, high = sorted((bound, found))
            bound = min(max(whole_bound(aim, proven), low), high)
        return bound, better

    def _keep_only_what_betters(self, costs: list[float], cost: int) -> None:
        """Columns whose use alone makes a placement no better than `cost` are set where they are in
        the relaxed optimum: their reduced cost says so."""
        if self._run(costs) != OPTIMAL:
            return
        spare = max(cost - 1 - self.solver.getObjectiveValue(), 0.0) + SLACK
        reduced = self.solver.getSolution().col_dual[: len(self.most)]
        self._limit(
            [most if r < -spare else 0 for r, most in zip(reduced, self.most, strict=True)],
            [0 if r > spare else most for r, most in zip(reduced, self.most, strict=True)],
        )

    def _with_later_aims(self, aim: int, counts: list[int]) -> list[int]:
        """A search for one aim heeds no later one: they are sought anew from what it found."""
        self._settle(aim, self.model.value(aim, counts))
        counts = self.bettered(counts, PER_PIECE[0])
        self._make_whole(False)
        self.solver.setOptionValue("mip_max_nodes", NO_LIMIT)
        return counts

    def _improved_by_pieces(
        self, counts: list[int], best: tuple[int, ...], relaxed: Any
    ) -> list[int]:
        """Some visits are placed anew while all else stays as it is, round after round: those that
        the relaxed optimum of all aims has elsewhere, then those in sessions that follow one
        another, from the first to the last. At first they may only go where the relaxed optimum
        loses nothing, then at a price in days that doubles each round."""
        model = self.model
        together = model.together()
        score, columns, price = model.score(counts), COLUMNS_AT_ONCE, SLACK
        while columns < 2 * len(model.columns):
            before = score
            promising = [cost <= price for cost in relaxed.col_dual[: len(counts)]]
            for number, piece in enumerate(
                (
                    elsewhere(model, together, counts, relaxed.col_value),
                    *pieces(model, together, counts, promising, columns),
                )
            ):
                left = self._left() - KEPT * self.seconds
                if score == best or left <= 0:
                    return counts
                nodes, most_seconds = PER_PIECE if number else PER_ROUND
                part, own = model.part(piece, counts, promising)
                search = _Search(part, min(left, most_seconds))
                found = search.bettered([counts[c] for c in own], nodes)
                self.spent += float(search.solver.getRunTime())
                after = list(counts)
                for column, count in zip(own, found, strict=True):
                    after[column] = count
                if after != counts:
                    counts, score = after, model.score(after)
            price = max(1.0, 2 * price)
            if score == before:
                columns *= 2
        return counts

    def bettered(self, counts: list[int], nodes: int) -> list[int]:
        """The best by all aims that is found within this many nodes of the search."""
        self._make_whole(True)
        self.solver.setOptionValue("mip_max_nodes", nodes)
        self._run(self.model.all_costs(), start=counts)
        return self._better(counts)

    def _made_whole(self) -> list[int]:
        """The relaxed optimum of all aims with its split visits made whole, some at a time, while
        all the others make room for them; what is then still split loses its place."""
        model = self.model
        low, high = [0] * len(self.most), list(self.most)
        waiting = [len(sort) for sort in model.sorts]
        room = [opening.free_minutes for opening in model.openings]
        ended = self._run(model.all_costs())
        counted = len(self.to_be_whole) < len(self.most)
        for _ in range(ROUNDS if counted else 0):
            shares = self.solver.getSolution().col_value[: len(low)]
            split = [c for c, share in enumerate(shares) if abs(share - round(share)) > SLACK]
            if not split or ended != OPTIMAL:
                break
            split.sort(key=lambda c: (-(shares[c] % 1.0), c))
            for column in split[: 1 + len(split) // 10]:
                sort, opening, _ = model.columns[column]
                minutes = model.sorts[sort][0].minutes
                more = ceil(shares[column]) - low[column]
                if more <= waiting[sort] and more * minutes <= room[opening]:
                    low[column] += more
                    waiting[sort] -= more
                    room[opening] -= more * minutes
                else:
                    high[column] = floor(shares[column])
                self.solver.changeColBounds(column, float(low[column]), float(high[column]))
            ended = self._run()
        shares = self.solver.getSolution().col_value[: len(low)]
        counts = filled(model, shares or low)
        self._limit([0] * len(low), self.most)
        return counts

    def _better(self, counts: list[int]) -> list[int]:
        """What the solver found, if it is whole and better by all aims in their order."""
        import highspy

        if self.solver.getInfo().primal_solution_status != highspy.kSolutionStatusFeasible:
            return counts
        values = self.solver.getSolution().col_value[: len(counts)]
        rounded = [round(value) for value in values]
        whole = all(abs(v - n) < SLACK for v, n in zip(values, rounded, strict=False))
        if len(values) < len(counts) or not whole:
            return counts
        return min(counts, rounded, key=self.model.score)

    def _left(self) -> float:
        return self.seconds - self.spent - float(self.solver.getRunTime())

    def _run(
        self,
        costs: list[float] | None = None,
        *,
        start: list[int] | None = None,
        seconds: float | None = None,
    ) -> str:
        """How the solver ended, "" where no time was left for it to start."""
        import highspy

        limit = self._left() if seconds is None else seconds
        if limit <= 0:
            self.solver.clearSolver()
            return ""
        self.solver.setOptionValue("time_limit", limit)
        if costs is not None:
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
        return str(self.solver.getModelStatus().name)

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
