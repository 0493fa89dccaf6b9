"""The exact proof that one row, and only one, answers every question a table may be asked.

Every numeric input is cut at each bound that any row uses; the product of the pieces (and words)
is walked cell by cell. A cell with no row is a gap, with two an overlap; a row in no cell is dead.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import product

from rehab.errors import TableError
from rehab.rules.domain import Pieces, Value, cut
from rehab.rules.table import ASSUMPTION, Outcome, Row, Table

Cell = tuple[int, ...]
SHOWN = 5


@dataclass(frozen=True, slots=True)
class ProvenTable:
    """A table in which every cell has exactly one row; the only kind that can be asked."""

    table: Table
    pieces: tuple[Pieces, ...]
    row_of_cell: Mapping[Cell, Row]

    def row(self, facts: Mapping[str, Value]) -> Row:
        """The row that answers `facts`; raises TableError when a fact is missing or outside."""
        cell = []
        for (name, domain), pieces in zip(self.table.inputs, self.pieces, strict=True):
            value = facts.get(name)
            if value is None or value not in domain:
                said = "is not given" if value is None else f"is {value}, outside {domain}"
                raise TableError(
                    f"{name} {said}.",
                    where=self.table.decision,
                    do="A clinician decides; this table does not answer there.",
                )
            cell.append(pieces.index(value))
        return self.row_of_cell[tuple(cell)]

    def cells(self) -> Iterator[Cell]:
        return product(*(range(len(pieces)) for pieces in self.pieces))

    def describe(self, cell: Cell) -> str:
        return _describe(self.table, self.pieces, cell)


def _describe(table: Table, pieces: tuple[Pieces, ...], cell: Cell) -> str:
    named = zip(table.inputs, pieces, cell, strict=True)
    return " and ".join(f"{name} is {piece.describe([index])}" for (name, _), piece, index in named)


def prove(table: Table) -> ProvenTable:
    """The proven table; raises TableError that lists every problem found."""
    problems = list(_problems_of_rows(table))
    if not problems:
        pieces = _pieces(table, problems)
    if problems:
        raise _refused(table, problems)
    row_of_cell: dict[Cell, Row] = {}
    overlaps: dict[tuple[str, str], Cell] = {}
    for row in table.rows:
        for cell in product(
            *(
                piece.matching(row.condition(name))
                for (name, _), piece in zip(table.inputs, pieces, strict=True)
            )
        ):
            first = row_of_cell.setdefault(cell, row)
            if first is not row:
                overlaps.setdefault((first.id, row.id), cell)
    proven = ProvenTable(table, pieces, row_of_cell)
    problems += [
        f"rows {first} and {second} both answer when {proven.describe(cell)}"
        for (first, second), cell in overlaps.items()
    ]
    gaps = [cell for cell in proven.cells() if cell not in row_of_cell]
    problems += [f"no row answers when {proven.describe(cell)}" for cell in gaps[:SHOWN]]
    if len(gaps) > SHOWN:
        problems.append(f"and {len(gaps) - SHOWN} more cells without a row")
    answering = {row.id for row in row_of_cell.values()}
    problems += [
        f"row {row.id} is dead: no cell is left for it"
        for row in table.rows
        if row.id not in answering and not any(row.id in pair for pair in overlaps)
    ]
    if problems:
        raise _refused(table, problems)
    return proven


def _refused(table: Table, problems: list[str]) -> TableError:
    return TableError(
        "; ".join(problems) + ".",
        where=f"{table.decision} of {table.effective}",
        do="Correct the table file; nothing is asked of a table that is not whole.",
    )


def _pieces(table: Table, problems: list[str]) -> tuple[Pieces, ...]:
    cuts = []
    for name, domain in table.inputs:
        conditions = tuple(c for row in table.rows if (c := row.condition(name)) is not None)
        try:
            cuts.append(cut(domain, conditions))
        except TableError as error:
            problems.append(f"input {name}: {error.what.rstrip('.')}")
    return tuple(cuts)


def _problems_of_rows(table: Table) -> Iterator[str]:
    inputs, outputs = dict(table.inputs), dict(table.outputs)
    cited = {source.key for source in table.sources} | {ASSUMPTION}
    seen: set[str] = set()
    for row in table.rows:
        if row.id in seen:
            yield f"the row id {row.id} stands twice"
        seen.add(row.id)
        if row.source not in cited:
            yield f"row {row.id} cites {row.source}, which [sources] does not hold"
        if not row.at:
            yield f"row {row.id} does not say at which place in its source the figure stands"
        for name, condition in row.when:
            domain = inputs.get(name)
            if domain is None:
                yield f"row {row.id} asks about {name}, which is not an input"
                continue
            for word in condition.words:
                if word not in domain.words:
                    yield f"row {row.id}: {word!r} is not a word of {name} ({domain})"
            start, below = condition.start, condition.below
            if start is None or below is None:
                continue
            if domain.start is None:
                yield f"row {row.id}: {name} has words, not numbers"
            elif start >= below:
                yield f"row {row.id}: {name} from {start} to below {below} holds no number"
        if row.outcome is Outcome.THEN:
            said = dict(row.then)
            yield from (f"row {row.id} does not say {name}" for name in outputs if name not in said)
            for name, value in row.then:
                if name not in outputs:
                    yield f"row {row.id} says {name}, which is not an output"
                elif value not in outputs[name]:
                    yield f"row {row.id} says {name} = {value}, outside {outputs[name]}"
    unused = {source.key for source in table.sources} - {row.source for row in table.rows}
    yield from (f"the source {key} is cited by no row" for key in sorted(unused))
