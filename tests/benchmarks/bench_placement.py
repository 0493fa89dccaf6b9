"""How good and fast a placement of many visits is: `python -m tests.benchmarks.bench_placement`."""

from collections.abc import Sequence
from random import Random
from time import perf_counter

import pulp

from rehab.care.booking import (
    Opening,
    Placement,
    Proposal,
    Request,
    check_placement,
    in_order,
    rules_broken,
    sibling_groups,
    suits,
)
from rehab.placement import propose
from tests.placement_cases import openings, requests, score

VISITS, SESSIONS, DAYS, SIBLINGS = 5_000, 60, 84, 0.05
COUNTED, MIXED = (15,), (10, 15, 20, 25, 30, 40, 45)
SEEDS, SMALL, SECONDS = (1, 2, 3), 200, 60.0
Case = tuple[tuple[Request, ...], tuple[Opening, ...]]


def large(seed: int, minutes: Sequence[int]) -> Case:
    """About as many minutes as are asked for, so that some windows are full and others are not."""
    random = Random(seed)
    requested = requests(random, VISITS, DAYS, minutes, siblings=SIBLINGS)
    each = sum(request.minutes for request in requested) // SESSIONS
    return in_order(requested, openings(random, SESSIONS, DAYS, each))


def small(seed: int) -> Case:
    random = Random(seed)
    minutes = COUNTED if seed % 2 else MIXED
    requested = requests(random, random.randint(10, 25), 20, minutes, siblings=0.3)
    return in_order(requested, openings(random, random.randint(3, 6), 20, 90))


def first_come(requested: Sequence[Request], held: Sequence[Opening]) -> tuple[Placement, ...]:
    """What a person does with a list: the most urgent first, each as near its target as it goes."""
    room = {opening.id: opening.free_minutes for opening in held}
    placed = []
    for request in sorted(requested, key=lambda r: (r.urgency, r.target)):
        fits = [o for o in held if suits(request, o) and request.minutes <= room[o.id]]
        if fits:
            nearest = min(fits, key=lambda o: abs((o.on - request.target).days))
            room[nearest.id] -= request.minutes
            placed.append(Placement(request, nearest.id))
    return tuple(placed)


class SecondSolver:
    """The same aims in another solver and another form: one yes or no for each visit and session,
    and for each sibling and day; nothing is put together and nothing is left out."""

    def __init__(self, requested: Sequence[Request], held: Sequence[Opening]) -> None:
        self.problem = pulp.LpProblem("placement", pulp.LpMinimize)
        goes = {
            (r.key, o.id): pulp.LpVariable(f"goes_{n}_{m}", cat="Binary")
            for n, r in enumerate(requested)
            for m, o in enumerate(held)
            if suits(r, o)
        }
        of = {r.key: [(o, goes[r.key, o.id]) for o in held if suits(r, o)] for r in requested}
        for request in requested:
            self.problem += pulp.lpSum(v for _, v in of[request.key]) <= 1
        for opening in held:
            self.problem += (
                pulp.lpSum(
                    r.minutes * goes[r.key, opening.id] for r in requested if suits(r, opening)
                )
                <= opening.free_minutes
            )
        saved: list[pulp.LpAffineExpression] = []
        for group in sibling_groups(requested, held):
            for day in {o.on for r in group for o, _ in of[r.key]}:
                come = [v for r in group for o, v in of[r.key] if o.on == day]
                anybody = pulp.LpVariable(f"anybody_{len(saved)}", cat="Binary")
                for one in come:
                    self.problem += one <= anybody
                saved.append(pulp.lpSum(come) - anybody)
        self.aims = [
            len([r for r in requested if r.urgency == urgency])
            - pulp.lpSum(v for r in requested if r.urgency == urgency for _, v in of[r.key])
            for urgency in (1, 2, 3, 4)
        ]
        self.aims.append(-pulp.lpSum(saved))
        self.aims.append(
            pulp.lpSum(abs((o.on - r.target).days) * v for r in requested for o, v in of[r.key])
        )

    def best(self, aims: int = 6, seconds_per_aim: float = SECONDS) -> tuple[int, ...]:
        """What it proves to be the best of each aim in turn, until one takes it too long."""
        found: list[int] = []
        for aim in self.aims[:aims]:
            if not aim.keys():
                found.append(round(aim.constant))
                continue
            self.problem.setObjective(aim + 0)
            self.problem.solve(
                pulp.PULP_CBC_CMD(msg=False, gapRel=0.0, gapAbs=0.5, timeLimit=seconds_per_aim)
            )
            if self.problem.sol_status != pulp.LpSolutionOptimal:
                break
            found.append(round(pulp.value(aim)))
            self.problem += aim <= found[-1]
        return tuple(found)


def shown(name: str, case: Case, seconds: float) -> Proposal:
    requested, held = case
    start = perf_counter()
    proposal = propose(requested, held, seconds=seconds)
    took = perf_counter() - start
    assert rules_broken(requested, held, proposal.placed) == ()
    print(f"{name}: {took:.1f} s, {'proven' if proposal.proven else 'not proven'}")
    for stage in proposal.stages:
        print(f"  {stage.aim}: {stage.found}, bound {stage.bound}, gap {100 * stage.gap:.2f} %")
    by_hand = score(requested, held, first_come(requested, held))
    print(f"  placed {len(proposal.placed)}; a person with a list: {by_hand}")
    print(f"  this proposal, by the same count:       {score(requested, held, proposal.placed)}")
    return proposal


def main() -> None:
    for seed in SEEDS:
        case = large(seed, COUNTED)
        proposal = shown(f"counted places, clinic {seed}", case, SECONDS)
        start = perf_counter()
        second = SecondSolver(*case).best(4)
        took = perf_counter() - start
        same = second == score(*case, proposal.placed)[: len(second)]
        print(
            f"  the second solver proved {len(second)} of the first 4 aims in {took:.1f} s, "
            f"equal: {same}"
        )
        random = Random(seed)
        requested = random.sample(case[0], len(case[0]))
        held = random.sample(case[1], len(case[1]))
        print(f"  in another order the same: {propose(requested, held) == proposal}")
    for seed in SEEDS:
        shown(f"minutes, clinic {seed}", large(seed, MIXED), SECONDS)
    start, equal = perf_counter(), 0
    for seed in range(SMALL):
        few, sessions = small(seed)
        proposal = propose(few, sessions)
        assert check_placement(few, sessions, proposal.placed) == ()
        equal += proposal.proven and (
            score(few, sessions, proposal.placed) == SecondSolver(few, sessions).best()
        )
    print(f"{SMALL} small clinics: {equal} proven and equal to the second solver's, aim by aim,")
    print(f"  in {perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
