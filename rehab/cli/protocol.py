"""Commands: read, prove and question the decision tables."""

import re
from collections.abc import Iterable
from datetime import date
from pathlib import Path

import click

from rehab.cli.options import FILE, json_option, today_option
from rehab.cli.output import because_json, print_columns, print_json, words
from rehab.cli.plan import explained
from rehab.errors import TableError
from rehab.rules.domain import Domain, Value
from rehab.rules.grid import printed_grid
from rehab.rules.protocol import Protocol, provenance
from rehab.rules.table import Outcome
from rehab.settings import TABLES_FOLDER, read_home
from rehab.table_files import read_protocol, read_table


@click.group()
def protocol() -> None:
    """Read, prove and question the decision tables."""


def _protocol(home: Path | None) -> Protocol:
    """The tables in force; they can be read before there is a clinic."""
    return read_protocol(read_home(home) / TABLES_FOLDER)


@protocol.command("list")
@json_option
@click.pass_obj
def list_decisions(home: Path | None, as_json: bool) -> None:
    """List the decisions, their editions and their questions.

    Example: rehab protocol list
    """
    tables = [e.table for editions in _protocol(home).editions.values() for e in editions]
    if as_json:
        print_json(
            [
                {"decision": t.decision, "edition": t.effective.isoformat(), "question": t.question,
                 "table": t.digest}
                for t in tables
            ]
        )  # fmt: skip
        return
    print_columns(
        ((t.decision, t.effective, t.question) for t in tables), ("DECISION", "EDITION", "QUESTION")
    )


@protocol.command()
@click.argument("decision")
@today_option
@click.pass_obj
def show(home: Path | None, decision: str, today: date) -> None:
    """Show every answer of one decision, with its rows and sources.

    Example: rehab protocol show pressure_check
    """
    click.echo(printed_grid(_protocol(home).edition(decision, today)), nl=False)


@protocol.command()
@click.argument("files", nargs=-1, type=FILE)
@click.pass_obj
def check(home: Path | None, files: tuple[Path, ...]) -> None:
    """Prove tables: no gap, no overlap, no dead row; and count what they rest on.

    With FILES, proves those files; without, the whole protocol in force.

    Example: rehab protocol check clinic/tables/refraction.toml
    """
    for file in files:
        proven = read_table(file)
        cells, rows = len(proven.row_of_cell), len(proven.table.rows)
        click.echo(f"{file.name}: whole; {rows} rows answer {cells} cells, each exactly once.")
    if files:
        return
    counts = provenance(_protocol(home))
    print_columns(
        ((c.decision, c.seen, c.from_memory, c.assumption, c.refer) for c in counts),
        ("DECISION", "SEEN IN SOURCE", "FROM MEMORY", "ASSUMPTION", "REFER"),
    )
    total = sum(c.assumption for c in counts)
    click.echo(f"All {len(counts)} decisions are whole. {total} rows are assumptions: review them.")


@protocol.command()
@click.argument("decision")
@click.argument("facts", nargs=-1, metavar="NAME=VALUE ...")
@today_option
@json_option
@click.pass_obj
def ask(
    home: Path | None, decision: str, facts: tuple[str, ...], today: date, as_json: bool
) -> None:
    """Ask one decision a question: the row that answers, its output and its citation.

    Example: rehab protocol ask pressure_check days_since_surgery=200 age_at_surgery_days=45
    """
    tables = _protocol(home)
    table = tables.edition(decision, today).table
    answer = tables.ask(decision, today, dict(_asked(facts, dict(table.inputs), decision)))
    if as_json:
        print_json(
            {
                "outcome": answer.outcome,
                "then": dict(answer.then),
                "why": answer.why,
                "because": because_json(answer.because),
            }
        )
        return
    if answer.outcome is Outcome.THEN:
        click.echo(", ".join(f"{words(name)}: {value}" for name, value in answer.then.items()))
    else:
        said = {"refer": "A clinician decides", "nothing": "Nothing is due"}[answer.outcome]
        click.echo(f"{said}: {answer.why}")
    for line in explained(answer.because):
        if not line.startswith("counted"):
            click.echo(f"    {line}")


def _asked(
    facts: Iterable[str], inputs: dict[str, Domain], decision: str
) -> Iterable[tuple[str, Value]]:
    told: set[str] = set()
    for fact in facts:
        name, equals, said = fact.partition("=")
        if not equals or name not in inputs:
            raise TableError(
                f"{fact!r} is not an input of this decision.",
                where=decision,
                do="Its inputs: " + "; ".join(f"{n} ({d})" for n, d in inputs.items()) + ".",
            )
        if name in told:
            raise TableError(f"{name} is told twice.", where=decision, do="Give it once.")
        told.add(name)
        yield name, int(said) if re.fullmatch("-?[0-9]{1,9}", said) else said
