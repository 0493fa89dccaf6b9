"""Chosen days against an exact solver of integer programmes: as few trips, as short a distance."""

from collections.abc import Sequence
from datetime import date, timedelta
from random import Random

import highspy
import pytest

from rehab.care.visits import Wish, choose_days

FIRST = date(2026, 3, 2)
BLOCKS, CASES_IN_A_BLOCK = 10, 60


def _distances(wish: Wish, days: Sequence[date]) -> dict[date, int]:
    return {
        day: abs((day - wish.target).days) for day in days if wish.earliest <= day <= wish.latest
    }


def _random_case(random: Random) -> tuple[list[Wish], list[date], list[date]]:
    """At least one wish, some repeated, with open days and fixed days; every wish can be met."""
    while True:
        wishes, open_days, fixed = _random_facts(random)
        if wishes:
            return wishes, open_days, fixed


def _random_facts(random: Random) -> tuple[list[Wish], list[date], list[date]]:
    length = random.randint(10, 70)
    calendar = [FIRST + timedelta(days=n) for n in range(length)]
    weekdays = random.choice([(0, 1, 2, 3, 4), (0, 3), (1,), tuple(range(7))])
    open_days = [day for day in calendar if day.weekday() in weekdays and random.random() < 0.9]
    fixed = random.sample(calendar, random.choice([0, 0, 1, 2, 3]))
    widest = random.choice([5, 12, 30])
    wishes: list[Wish] = []
    for _ in range(random.randint(1, 14)):
        target = random.choice(calendar)
        early, late = random.randint(0, widest), random.randint(0, widest)
        wish = Wish(target - timedelta(days=early), target, target + timedelta(days=late))
        if _distances(wish, [*open_days, *fixed]):
            wishes += [wish] * random.choice([1, 1, 1, 2, 4])
    return wishes, open_days, fixed


def _solved(
    wishes: Sequence[Wish], open_days: Sequence[date], fixed: Sequence[date]
) -> tuple[int, int]:
    """The fewest trips, then the least total distance with that many, by the solver alone."""
    solver = highspy.Highs()  # type: ignore[no-untyped-call]
    solver.silent()
    solver.setOptionValue("mip_rel_gap", 0.0)
    # As the placement of visits has it: one process holds only one number.
    solver.setOptionValue("threads", 1)
    days = sorted({*open_days, *fixed})
    travelled = {day: solver.addBinary() for day in days}
    for day in fixed:
        solver.addConstr(travelled[day] == 1)
    distance: list[highspy.highs.highs_linear_expression] = []
    for wish in wishes:
        served = {day: solver.addVariable(lb=0, ub=1) for day in _distances(wish, days)}
        solver.addConstr(solver.qsum(served.values()) == 1)
        for day, share in served.items():
            solver.addConstr(share <= travelled[day])
        distance += [share * abs((day - wish.target).days) for day, share in served.items()]
    added = [travelled[day] for day in days if day not in fixed]
    trips = 0
    if added:
        solver.minimize(solver.qsum(added))
        assert solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
        trips = round(solver.getObjectiveValue())
        solver.addConstr(solver.qsum(added) <= trips)
    solver.minimize(solver.qsum(distance))
    assert solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return trips, round(solver.getObjectiveValue())


@pytest.mark.parametrize("block", range(BLOCKS))
def test_no_solver_finds_fewer_trips_or_days_nearer_to_the_targets(block: int) -> None:
    seeds = range(block * CASES_IN_A_BLOCK, (block + 1) * CASES_IN_A_BLOCK)
    for seed in seeds:
        wishes, open_days, fixed = _random_case(Random(seed))
        chosen = choose_days(wishes, open_days, fixed)
        trips = len(set(chosen) - set(fixed))
        distance = sum(min(_distances(wish, chosen).values()) for wish in wishes)
        assert set(fixed) <= set(chosen) <= {*open_days, *fixed}
        assert (trips, distance) == _solved(wishes, open_days, fixed), f"seed {seed}"
