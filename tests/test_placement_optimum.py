"""The proposal against every placement there is, in 200 small clinics, and in any order."""

from collections.abc import Iterator, Sequence
from random import Random

import pytest

from rehab.care.booking import (
    Opening,
    Placement,
    Request,
    check_placement,
    left_out,
    rules_broken,
    suits,
)
from rehab.placement import propose
from tests.placement_cases import openings, requests, score

DAYS = 12


def small(seed: int) -> tuple[tuple[Request, ...], tuple[Opening, ...]]:
    """Every second clinic counts places, the others minutes."""
    random = Random(seed)
    minutes = (15,) if seed % 2 else (10, 15, 25, 40)
    requested = requests(random, random.randint(2, 7), DAYS, minutes, siblings=0.5)
    return requested, openings(random, random.randint(1, 3), DAYS, 35)


def every_placement(
    requested: Sequence[Request], held: Sequence[Opening]
) -> Iterator[tuple[Placement, ...]]:
    """Each that keeps the limits of families and the room of sessions."""
    if not requested:
        yield ()
        return
    first, others = requested[0], requested[1:]
    for placed in every_placement(others, held):
        yield placed
        for opening in held:
            taken = sum(p.request.minutes for p in placed if p.opening_id == opening.id)
            if suits(first, opening) and taken + first.minutes <= opening.free_minutes:
                yield (Placement(first, opening.id), *placed)


@pytest.mark.parametrize("tens", range(20))
def test_no_placement_of_a_small_clinic_is_better(tens: int) -> None:
    for seed in range(10 * tens, 10 * tens + 10):
        requested, held = small(seed)
        proposal = propose(requested, held)
        best = min(score(requested, held, placed) for placed in every_placement(requested, held))
        assert score(requested, held, proposal.placed) == best
        assert proposal.proven
        assert check_placement(requested, held, proposal.placed) == ()
        assert left_out(requested, held, proposal.placed) == ()
        assert len(proposal.placed) + len(proposal.not_placed) == len(requested)


@pytest.mark.parametrize("seed", range(10))
def test_the_order_in_which_visits_and_sessions_come_in_changes_nothing(seed: int) -> None:
    random = Random(seed)
    requested = requests(random, 40, 30, (10, 20, 25) if seed % 2 else (20,))
    held = openings(random, 8, 30, 120)
    proposal = propose(requested, held)
    for _ in range(2):
        shuffled = random.sample(requested, len(requested))
        assert propose(shuffled, random.sample(held, len(held))) == proposal


@pytest.mark.parametrize("seed", range(8))
def test_a_search_cut_short_never_claims_more_than_is_true(seed: int) -> None:
    random = Random(seed)
    requested = requests(random, 60, 30, (10, 20, 25) if seed % 2 else (20,))
    held = openings(random, 6, 30, 150)
    best = propose(requested, held)
    assert best.proven
    for seconds in (1e-9, 0.002, 0.01, 0.03, 0.1):
        proposal = propose(requested, held, seconds=seconds)
        assert rules_broken(requested, held, proposal.placed) == ()
        for stage, true in zip(proposal.stages, best.stages, strict=True):
            least, most = sorted((stage.found, stage.bound))
            assert least <= true.found <= most
            if not stage.proven:
                break
