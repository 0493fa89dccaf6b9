"""Domains hold whole numbers and words, and are cut at the bounds that rows use."""

import pytest

from rehab.errors import TableError
from rehab.rules.domain import Condition, Domain, cut

DAYS = Domain(0, 6600, ("not operated",))


@pytest.mark.parametrize("value", [0, 1, 6599, "not operated"])
def test_a_domain_holds_its_start_its_words_and_all_numbers_below_its_end(value: object) -> None:
    assert value in DAYS


@pytest.mark.parametrize("value", [-1, 6600, "unknown", "0", 7.0, True, None])
def test_a_domain_holds_nothing_else(value: object) -> None:
    assert value not in DAYS


def test_a_domain_of_words_holds_no_number() -> None:
    assert 0 not in Domain(None, None, ("none", "latent"))


def test_a_domain_says_its_numbers_and_words() -> None:
    assert str(DAYS) == "0 to below 6600, not operated"
    assert str(Domain(None, None, ("none", "latent"))) == "none, latent"


def test_a_domain_is_cut_at_every_bound_and_nowhere_else() -> None:
    pieces = cut(DAYS, (Condition(28, 336), Condition(336, 6600), Condition(0, 28)))
    assert pieces.cuts == (0, 28, 336)
    assert [pieces.index(value) for value in (0, 27, 28, 335, 336, 6599)] == [0, 0, 1, 1, 2, 2]
    assert pieces.index("not operated") == 3


def test_a_condition_matches_the_pieces_that_it_covers_and_an_absent_one_matches_all() -> None:
    pieces = cut(DAYS, (Condition(28, 336),))
    assert pieces.matching(Condition(28, 336)) == (1,)
    assert pieces.matching(Condition(28, 6600, ("not operated",))) == (1, 2, 3)
    assert pieces.matching(Condition(words=("not operated",))) == (3,)
    assert pieces.matching(None) == (0, 1, 2, 3)


@pytest.mark.parametrize("condition", [Condition(-1, 28), Condition(28, 6601)])
def test_a_bound_outside_the_domain_is_refused(condition: Condition) -> None:
    with pytest.raises(TableError, match="lies outside the domain 0 to below 6600, not operated"):
        cut(DAYS, (condition,))


def test_neighbouring_pieces_are_described_as_one_span() -> None:
    pieces = cut(DAYS, (Condition(1, 28), Condition(28, 336)))
    assert pieces.describe([0]) == "0"
    assert pieces.describe([1, 2]) == "1 to below 336"
    assert pieces.describe([3, 0, 4]) == "0 or 336 to below 6600 or not operated"
