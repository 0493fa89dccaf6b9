"""The proof against brute force: exactly one row answers every question of a proven table."""

from dataclasses import replace
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.errors import TableError
from rehab.rules.domain import Condition, Domain
from rehab.rules.proof import prove
from rehab.rules.table import Outcome, Row, Table
from tests.rules.small_tables import answers, any_tables, questions, row, table, whole_tables

DAYS = {"days": Domain(0, 100)}
LENS = {"lens": Domain(None, None, ("phakic", "aphakic"))}
REVIEW = table(DAYS, row(1, {"days": Condition(0, 28)}), row(4, {"days": Condition(28, 100)}))


def refused(broken: Table) -> str:
    with pytest.raises(TableError) as caught:
        prove(broken)
    assert caught.value.where == "small of 2020-01-01"
    assert caught.value.do.startswith("Correct the table file")
    return caught.value.what


@given(any_tables())
def test_a_table_is_proven_if_and_only_if_one_row_answers_every_question(asked: Table) -> None:
    counts = [sum(answers(r, facts) for r in asked.rows) for facts in questions(asked)]
    if set(counts) == {1}:
        prove(asked)
    else:
        what = refused(asked)
        assert ("no row answers when" in what) == (0 in counts)
        assert ("both answer when" in what) == (max(counts) > 1)


@given(whole_tables())
def test_a_proven_table_answers_as_brute_force_does(asked: Table) -> None:
    proven = prove(asked)
    for facts in questions(asked):
        assert [proven.row(facts)] == [r for r in asked.rows if answers(r, facts)]


@given(whole_tables(), st.randoms(use_true_random=False))
def test_the_order_of_rows_means_nothing(asked: Table, random: Random) -> None:
    shuffled = replace(asked, rows=tuple(random.sample(asked.rows, len(asked.rows))))
    for facts in questions(asked):
        assert prove(asked).row(facts) == prove(shuffled).row(facts)


def test_a_table_without_inputs_holds_one_constant() -> None:
    assert prove(table({}, row(6, {}))).row({}).then == (("weeks", 6),)


def test_a_gap_is_named_by_the_cell_where_no_row_answers() -> None:
    gap = table(DAYS, row(1, {"days": Condition(0, 28)}), row(4, {"days": Condition(29, 100)}))
    assert refused(gap) == "no row answers when days is 28."


def test_an_overlap_names_both_rows_and_a_cell() -> None:
    both = table(DAYS, row(1, {"days": Condition(0, 28)}), row(4, {"days": Condition(27, 100)}))
    assert refused(both) == "rows row-1 and row-4 both answer when days is 27."


def test_many_gaps_are_counted_and_five_are_shown() -> None:
    odd = [row(n, {"days": Condition(n, n + 1)}) for n in range(1, 16, 2)]
    what = refused(table(DAYS, *odd))
    assert what.count("no row answers when days is") == 5
    assert what.endswith("and 4 more cells without a row.")


def test_a_dead_row_is_named() -> None:
    dead = row(9, {"lens": Condition()})
    assert refused(table(LENS, row(1, {}), dead)) == "row row-9 is dead: no cell is left for it."


def test_every_problem_of_a_table_is_told_at_once() -> None:
    broken = table(
        DAYS | LENS,
        row(1, {"dyas": Condition(0, 28)}),
        row(1, {"lens": Condition(0, 28)}),
        row(2, {"days": Condition(50, 50)}),
        row(200, {"lens": Condition(words=("unknown",))}),
    )
    assert refused(broken).split("; ") == [
        "row row-1 asks about dyas, which is not an input",
        "the row id row-1 stands twice",
        "row row-1: lens has words, not numbers",
        "row row-2: days from 50 to below 50 holds no number",
        "row row-200: 'unknown' is not a word of lens (phakic, aphakic)",
        "row row-200 says weeks = 200, outside 1 to below 100.",
    ]


@pytest.mark.parametrize(
    ("bad", "what"),
    [
        (replace(row(1, {}), then=()), "row row-1 does not say weeks."),
        (
            replace(row(1, {}), then=(("weeks", 1), ("days", 3))),
            "says days, which is not an output.",
        ),
        (
            replace(row(1, {}), at=""),
            "does not say at which place in its source the figure stands.",
        ),
        (replace(row(1, {}), source="hearsay"), "cites hearsay, which [sources] does not hold;"),
    ],
)
def test_a_row_must_say_its_outputs_and_cite_its_source(bad: Row, what: str) -> None:
    assert what in refused(replace(table(DAYS, row(1, {})), rows=(bad,)))


def test_a_source_that_no_row_cites_is_refused() -> None:
    lonely = replace(REVIEW, sources=(*REVIEW.sources, replace(REVIEW.sources[0], key="other")))
    assert refused(lonely) == "the source other is cited by no row."


def test_a_bound_outside_the_domain_is_refused() -> None:
    outside = table(DAYS, row(1, {"days": Condition(0, 101)}))
    assert refused(outside) == "input days: the bound 101 lies outside the domain 0 to below 100."


@pytest.mark.parametrize(
    ("facts", "what"),
    [
        ({"days": 100}, "days is 100, outside 0 to below 100."),
        ({"days": -1}, "days is -1, outside 0 to below 100."),
        ({"days": "unknown"}, "days is unknown, outside 0 to below 100."),
        ({"weeks": 3}, "days is not given."),
    ],
)
def test_outside_its_domain_a_table_refuses(facts: dict[str, int | str], what: str) -> None:
    with pytest.raises(TableError) as caught:
        prove(REVIEW).row(facts)
    assert str(caught.value) == (
        f"small: {what} A clinician decides; this table does not answer there."
    )


def test_a_row_that_refers_or_says_nothing_is_an_answer_too() -> None:
    refer = row(2, {"days": Condition(28, 100)}, Outcome.REFER)
    proven = prove(table(DAYS, row(1, {"days": Condition(0, 28)}), refer))
    assert proven.row({"days": 28}).why == "reason 2"
