"""Commands: take a clinic's own table of children into the records, after a dry run."""

import csv
import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from rehab.cli.options import FILE, NEW_FILE, desk, json_option, stamped, today_option
from rehab.cli.output import Json, print_json
from rehab.cli.progress import progress
from rehab.csv_files import csv_bytes, inert_row
from rehab.import_desk import Job, Status, Tally, Verdict, about_dates, judge, write
from rehab.import_files import Table, open_table
from rehab.import_lines import COLUMNS, EXAMPLE, Meaning, cells_of
from rehab.import_mapping import Explained, read_mapping
from rehab.measures.typed_text import visible
from rehab.measures.written_dates import DateOrder
from rehab.sheets import write_sheet
from rehab.store.store import Stamp
from rehab.whole_files import whole_file, write_whole

FIRST_PROBLEMS = 20
ROWS_AT_ONCE = 500
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t"}
Tell = Callable[[Verdict], None]


@click.group("import")
def import_() -> None:
    """Prepare a table of children to be imported."""


@import_.command()
@click.argument("out", type=NEW_FILE)
def template(out: Path) -> None:
    """Write an empty sheet with all columns and an example line to OUT (.xlsx or .csv).

    Example: rehab import template empty.xlsx
    """
    if out.exists():
        raise click.BadParameter(f"{out} is there already: choose another name", param_hint="OUT")
    cells = cells_of(EXAMPLE)
    if out.suffix.lower() == ".xlsx":
        # A workbook names a day of making; the example's own keeps every template the same file.
        made_on = EXAMPLE.child.date_of_birth
        content = write_sheet(COLUMNS, [list(cells.values())], name="Children", made_on=made_on)
    elif out.suffix.lower() == ".csv":
        content = csv_bytes((COLUMNS, cells.values()))
    else:
        raise click.BadParameter("end the name of the file in .xlsx or .csv", param_hint="OUT")
    write_whole(out, content)
    click.echo(f"Wrote {out}. Replace its example line, then: rehab child import {out}")


@click.command("import")
@click.argument("file", type=FILE)
@click.option(
    "--mapping",
    type=FILE,
    help="A TOML file that explains headings and words.",
)
@click.option("--dates", type=click.Choice([o.value for o in DateOrder]), help="Order of dates.")
@click.option("--encoding", help="Such as cp1252; else UTF-8.")
@click.option("--delimiter", type=click.Choice(list(DELIMITERS)), help="What separates columns.")
@click.option("--sheet", help="The sheet of a workbook.")
@click.option("--not-duplicate", multiple=True, help="The NUMBER of a child who only looks known.")
@click.option("--write", "to_write", is_flag=True, help="Write; else nothing is written.")
@click.option("--skip-failed", is_flag=True, help="Write the other lines where some fail.")
@click.option(
    "--report",
    type=NEW_FILE,
    help="Write what becomes of every line to this CSV file.",
)
@stamped
@today_option
@json_option
@click.pass_context
def import_children(
    context: click.Context, /, file: Path, stamp: Stamp, as_json: bool, **given: Any
) -> None:
    """Take the children of FILE (CSV or XLSX) into the records; a dry run unless --write.

    Nothing is written when any line fails, unless --skip-failed. What is recorded is never
    overwritten, and the same file twice changes nothing.

    Example: rehab child import children.csv --who "M. Okoro"
    """
    explained, report = _explained(given), given["report"]
    if report is not None and report.exists() and report.samefile(file):
        raise click.BadParameter("the report would take the place of FILE", param_hint="--report")
    table = open_table(file, explained)
    meaning = Meaning(given["today"], explained.dates, explained.words)
    job = Job(desk(context.obj), table, meaning, explained.not_duplicates)
    tally, problems = _check(job, report)
    failed = tally.counts[Status.FAILS]
    to_write = given["to_write"] and (given["skip_failed"] or not failed)
    if to_write:
        with _bar(table, "Writing") as step:
            write(job, tally, stamp, step)
    if as_json:
        print_json(_json(table, tally, problems, to_write))
    else:
        _print(table, tally, problems)
        click.echo(_ending(tally, to_write, given["to_write"]))
    context.exit(1 if failed else 0)


def _explained(given: dict[str, Any]) -> Explained:
    mapping = read_mapping(given["mapping"]) if given["mapping"] else Explained()
    return replace(
        mapping,
        dates=DateOrder(given["dates"]) if given["dates"] else mapping.dates,
        encoding=given["encoding"] or mapping.encoding,
        delimiter=DELIMITERS.get(given["delimiter"], mapping.delimiter),
        sheet=given["sheet"] or mapping.sheet,
        not_duplicates=mapping.not_duplicates | set(given["not_duplicate"]),
    )


def _check(job: Job, report: Path | None) -> tuple[Tally, list[Verdict]]:
    """How many lines come to what, and the first problems; all verdicts go into the report."""
    tally, problems = Tally(), list[Verdict]()
    with _bar(job.table, "Checking") as step, _reporting(report) as tell:
        for verdict in judge(job):
            tally.add(verdict)
            if verdict.status is Status.FAILS and len(problems) < FIRST_PROBLEMS:
                problems.append(verdict)
            tell(verdict)
            step(verdict)
    return tally, problems


@contextmanager
def _bar(table: Table, label: str) -> Iterator[Tell]:
    waiting, size, shown = 0, 0, 0
    with progress(table.size, label) as bar:

        def step(verdict: Verdict) -> None:
            nonlocal waiting, size, shown
            waiting, size = waiting + 1, size + verdict.row.size
            if waiting == ROWS_AT_ONCE:
                bar.update(size)
                waiting, size, shown = 0, 0, shown + size

        yield step
        bar.update(table.size - shown)


@contextmanager
def _reporting(path: Path | None) -> Iterator[Tell]:
    if path is None:
        yield lambda verdict: None
        return
    with whole_file(path) as file:
        text = io.TextIOWrapper(file, encoding="utf-8-sig", newline="")
        writer = csv.writer(text)
        writer.writerow(("line", "number", "name", "outcome", "what"))

        def tell(verdict: Verdict) -> None:
            said = (verdict.told.number, verdict.row.cells.get("name", ""), verdict.status)
            what = " ".join(verdict.notes)
            writer.writerow(inert_row((verdict.row.line, *said, what)))

        yield tell
        text.detach()


def _print(table: Table, tally: Tally, problems: list[Verdict]) -> None:
    for note in (*table.notes, *about_dates(tally)):
        click.echo(note)
    for verdict in problems:
        number = f" ({verdict.told.number})" if verdict.told.number else ""
        click.echo(visible(f"line {verdict.row.line}{number}: {' '.join(verdict.notes)}"))
    more = tally.counts[Status.FAILS] - len(problems)
    if more > 0:
        click.echo(f"and {more} more lines: see them all with --report FILE.csv")


def _ending(tally: Tally, written: bool, asked: bool) -> str:
    counted = ", ".join(f"{tally.counts[status]} {status}" for status in Status)
    failed = tally.counts[Status.FAILS]
    if written:
        left = f" without the {failed} that cannot be taken" if failed else ""
        return f"{counted}. Written{left}."
    if asked:
        return f"{counted}. Nothing was written. Correct these lines, or leave them: --skip-failed"
    advice = "" if failed else " To write: --write"
    return f"{counted}. This was a dry run: nothing was written.{advice}"


def _json(table: Table, tally: Tally, problems: list[Verdict], written: bool) -> Json:
    return {
        "written": written,
        "lines": {str(status): tally.counts[status] for status in Status},
        "notes": [*table.notes, *about_dates(tally)],
        "first_problems": [
            {"line": v.row.line, "number": v.told.number, "what": list(v.notes)} for v in problems
        ],
    }
