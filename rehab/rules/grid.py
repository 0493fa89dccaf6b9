"""The printed grid: every answer of a table as text, for a clinician to review as a diff."""

from collections.abc import Iterator

from rehab.rules.domain import Domain
from rehab.rules.proof import Cell, ProvenTable
from rehab.rules.protocol import provenance_of
from rehab.rules.table import ASSUMPTION, Outcome, Row, Table


def printed_grid(proven: ProvenTable) -> str:
    """All that `proven` can answer, each cell in exactly one entry, in the order of its inputs."""
    parts = [
        _header(proven.table),
        _domains("Inputs", proven.table.inputs),
        _domains("Outputs", proven.table.outputs),
        "Answers (an input that is not named may have any value)",
        *_entries(proven),
        *_closing(proven.table),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _header(table: Table) -> str:
    count = provenance_of(table)
    return "\n".join(
        [
            table.decision,
            table.question,
            f"edition   {table.effective}",
            f"verified  {table.verified}",
            f"change    {table.change}",
            f"rows      {len(table.rows)}: {count.seen} with the figure seen in its source, "
            f"{count.from_memory} from memory, {count.assumption} assumed, {count.refer} referred",
        ]
    )


def _domains(title: str, domains: tuple[tuple[str, Domain], ...]) -> str:
    lines = [f"    {name} = {domain}" for name, domain in domains]
    return "\n".join([title, *lines]) if lines else ""


def _entries(proven: ProvenTable) -> Iterator[str]:
    """One entry a row: a row asks each input apart, so its cells are a product of pieces."""
    cells: dict[str, list[Cell]] = {}
    for cell in proven.cells():
        cells.setdefault(proven.row_of_cell[cell].id, []).append(cell)
    rows = {row.id: row for row in proven.table.rows}
    for row_id, covered in cells.items():
        yield "\n".join(
            [f"    {_asked(proven, covered)}", *(f"        {line}" for line in _said(rows[row_id]))]
        )


def _asked(proven: ProvenTable, covered: list[Cell]) -> str:
    asked = []
    for place, ((name, _), pieces) in enumerate(
        zip(proven.table.inputs, proven.pieces, strict=True)
    ):
        indexes = {cell[place] for cell in covered}
        if len(indexes) < len(pieces):
            asked.append(f"{name} = {pieces.describe(indexes)}")
    return ", ".join(asked) or "always"


def _said(row: Row) -> Iterator[str]:
    match row.outcome:
        case Outcome.THEN:
            yield "-> " + ", ".join(f"{name} = {value}" for name, value in row.then)
        case Outcome.NOTHING:
            yield f"-> NOTHING DUE: {row.why}"
        case Outcome.REFER:
            yield f"-> A CLINICIAN DECIDES: {row.why}"
    yield f"   [{row.id}; {row.source}; {row.at}]"


def _closing(table: Table) -> Iterator[str]:
    if table.sources:
        told = {True: "figure seen", False: "figure from memory"}
        lines = [f"    {s.key} ({told[s.seen]}): {s.citation}" for s in table.sources]
        yield "\n".join(["Sources", *lines])
    lines = [f"    {row.id}: {row.at}" for row in table.rows if row.source == ASSUMPTION]
    if lines:
        yield "\n".join(["Assumptions of this project, with no published source", *lines])
