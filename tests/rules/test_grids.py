"""The printed grids: kept whole in tests/grids, and exact for any table."""

import re
from collections.abc import Iterator

import pytest
from hypothesis import given

from rehab.rules.domain import Condition, Domain, Value
from rehab.rules.grid import printed_grid
from rehab.rules.proof import ProvenTable, prove
from rehab.rules.table import Outcome, Table
from rehab.table_files import read_protocol
from tests.rules.small_tables import questions, row, table, whole_tables
from tests.write_grids import GRIDS, grids

PRINTED = grids()
EDITIONS = [e for editions in read_protocol().editions.values() for e in editions]
ENTRY = re.compile(
    r"^    (?P<asked>\S.*)\n        -> .*\n           \[(?P<row>[^;]+); ", re.MULTILINE
)


@pytest.mark.parametrize("name", sorted({*PRINTED, *(path.name for path in GRIDS.glob("*"))}))
def test_the_stored_grid_is_what_the_table_answers(name: str) -> None:
    assert name in PRINTED, f"tests/grids/{name} belongs to no table: python -m tests.write_grids"
    stored = GRIDS / name
    written = stored.read_text(encoding="utf-8") if stored.exists() else ""
    assert written == PRINTED[name], "review what changed, then run: python -m tests.write_grids"


def entries(grid: str) -> Iterator[tuple[str, str]]:
    """The entries of a printed grid, read back: what each asks, and the id of its row."""
    return ((found["asked"], found["row"]) for found in ENTRY.finditer(grid))


def covers(asked: str, facts: dict[str, Value]) -> bool:
    """Whether an entry, read as a person would read it, answers `facts`."""
    if asked == "always":
        return True
    parts = (part.split(" = ") for part in asked.split(", "))
    return all(any(_is(facts[name], piece) for piece in said.split(" or ")) for name, said in parts)


def _is(value: Value, piece: str) -> bool:
    start, _, below = piece.partition(" to below ")
    if isinstance(value, int) and below:
        return int(start) <= value < int(below)
    return str(value) == piece


@given(whole_tables())
def test_the_printed_entries_answer_every_question_once_and_as_the_table_does(asked: Table) -> None:
    proven = prove(asked)
    printed = list(entries(printed_grid(proven)))
    assert len(printed) == len(asked.rows)
    for facts in questions(asked):
        assert [r for said, r in printed if covers(said, facts)] == [proven.row(facts).id]


@pytest.mark.parametrize("proven", EDITIONS, ids=lambda e: e.table.decision)
def test_the_printed_entries_of_a_built_in_table_cover_each_cell_once(proven: ProvenTable) -> None:
    printed = list(entries(printed_grid(proven)))
    for cell in proven.cells():
        facts = {
            name: pieces.words[index - len(pieces.cuts)]
            if index >= len(pieces.cuts)
            else pieces.cuts[index]
            for (name, _), pieces, index in zip(
                proven.table.inputs, proven.pieces, cell, strict=True
            )
        }
        assert [r for said, r in printed if covers(said, facts)] == [proven.row_of_cell[cell].id]


def test_a_grid_reads_from_the_question_to_the_assumptions() -> None:
    asked = table(
        {"days": Domain(0, 100, ("unknown",)), "eye": Domain(None, None, ("right", "left"))},
        row(4, {"days": Condition(0, 28)}),
        row(
            5,
            {"days": Condition(28, 100), "eye": Condition(words=("left",))},
            Outcome.NOTHING,
            "textbook",
        ),
        row(
            6, {"days": Condition(28, 100), "eye": Condition(words=("right",))}, source="assumption"
        ),
        row(7, {"days": Condition(words=("unknown",))}, Outcome.REFER, "assumption"),
    )
    assert printed_grid(prove(asked)) == EXAMPLE


EXAMPLE = """\
small
How many weeks?
edition   2020-01-01
verified  unverified on 2020-01-01
change    First edition.
rows      4: 1 with the figure seen in its source, 1 from memory, 1 assumed, 1 referred

Inputs
    days = 0 to below 100, unknown
    eye = right, left

Outputs
    weeks = 1 to below 100

Answers (an input that is not named may have any value)

    days = 0 to below 28
        -> weeks = 4
           [row-4; study; page 4]

    days = 28 to below 100, eye = right
        -> weeks = 6
           [row-6; assumption; page 6]

    days = 28 to below 100, eye = left
        -> NOTHING DUE: reason 5
           [row-5; textbook; page 5]

    days = unknown
        -> A CLINICIAN DECIDES: reason 7
           [row-7; assumption; page 7]

Sources
    study (figure seen): A study.
    textbook (figure from memory): A textbook.

Assumptions of this project, with no published source
    row-6: page 6
    row-7: page 7
"""
