"""A row knows its conditions and a table its sources, its own assumptions among them."""

from rehab.rules.domain import Condition, Domain
from tests.rules.small_tables import row, table

ASKED = table(
    {"days": Domain(0, 100)},
    row(1, {"days": Condition(0, 28)}),
    row(4, {"days": Condition(28, 100)}, source="assumption"),
)


def test_a_row_gives_its_condition_on_an_input_and_none_when_it_does_not_ask() -> None:
    assert ASKED.rows[0].condition("days") == Condition(0, 28)
    assert ASKED.rows[0].condition("lens") is None


def test_a_table_gives_the_source_that_a_row_cites() -> None:
    assert ASKED.source("study").citation == "A study."


def test_an_assumption_is_a_source_that_says_so_and_was_seen_nowhere() -> None:
    source = ASKED.source("assumption")
    assert source.citation == "An assumption of this project, with no published source."
    assert not source.seen
