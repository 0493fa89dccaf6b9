"""Commands: list the families whom someone must contact."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import date, timedelta
from itertools import groupby
from pathlib import Path
from textwrap import wrap

import click

from rehab import workflow
from rehab.care.recall import WAITING, Recall, contact_counts
from rehab.cli.options import Day, desk, json_option, today_option
from rehab.cli.output import Json, because_json, print_json
from rehab.measures.age_text import age_in_words
from rehab.recall_files import because_text, recall_csv, recall_sheet, ring, tried
from rehab.whole_files import write_whole

COLUMNS = 100
INDENT = "    "
FILE = click.Path(path_type=Path, dir_okay=False)


@click.group()
def recall() -> None:
    """List the families whom someone must contact."""


@recall.command("list")
@click.option(
    "--by", type=Day(), help="Look ahead to windows that close by this day (else 14 days)."
)
@click.option("--first", type=click.IntRange(min=1), help="Only the first families of the list.")
@click.option("--csv", "csv_file", type=FILE, help="Write a file for a spreadsheet.")
@click.option("--xlsx", "xlsx_file", type=FILE, help="Write a workbook.")
@click.option("--page", "page_file", type=FILE, help="Write an HTML page to print and write on.")
@today_option
@json_option
@click.pass_obj
def list_recall(
    home: Path | None,
    /,
    by: date | None,
    first: int | None,
    today: date,
    as_json: bool,
    **files: Path | None,
) -> None:
    """List each family once, with the reasons, the most urgent first.

    A child stays on the list until an appointment lies ahead and the family knows of it, or until
    an ending is recorded.

    Example: rehab recall list --by 2026-05-31 --page recall.html
    """
    wanted = [(kind.removesuffix("_file"), file) for kind, file in files.items() if file]
    if len(wanted) + as_json > 1:
        raise click.UsageError("Choose one of --csv, --xlsx, --page and --json.")
    opened = desk(home)
    lines = workflow.recall(opened, today=today, by=by or today + timedelta(days=14))
    shown = lines[:first]
    for kind, file in wanted:
        write_whole(file, _content(kind, shown, opened, today))
        click.echo(f"Wrote {file}: {_families(len(shown))}{_out_of(shown, lines)}.")
        return
    if as_json:
        print_json([_line_json(line) for line in shown])
    elif not lines:
        click.echo("Nobody needs to be contacted.")
    else:
        _print_list(lines, shown, today)


def _content(kind: str, lines: Sequence[Recall], opened: workflow.Desk, today: date) -> bytes:
    if kind == "csv":
        return recall_csv(lines, today)
    if kind == "xlsx":
        return recall_sheet(lines, today)
    # Imported here: every other command is quicker without it.
    from rehab.letters.recall_page import recall_page

    return recall_page(lines, opened.settings.clinic, today).encode()


def _line_json(line: Recall) -> Json:
    return {
        "child": line.child.number,
        "name": line.child.name,
        "born": line.child.date_of_birth.isoformat(),
        "language": line.child.language,
        "contact": line.contact,
        "urgency": line.urgency,
        "reasons": [asdict(reason) for reason in line.reasons],
        "come_by": line.come_by and line.come_by.isoformat(),
        "waits_until": line.waits_until and line.waits_until.isoformat(),
        "days_overdue": line.days_overdue,
        "times_not_brought": line.times_not_brought,
        "ring": list(ring(line)),
        "last_tries": list(tried(line)),
        "because": because_json(line.because),
    }


def _print_list(lines: Sequence[Recall], shown: Sequence[Recall], today: date) -> None:
    counts = ", ".join(f"{count} {when}" for when, count in contact_counts(lines))
    click.echo(f"{_families(len(lines))} to contact: {counts}.")
    for contact, group in groupby(shown, key=_heading):
        click.echo(f"\n{contact[:1].upper()}{contact[1:]}")
        for line in group:
            for text in _block(line, today):
                click.echo(text)
    if len(shown) < len(lines):
        click.echo(f"\nThese are the first {len(shown)} of {len(lines)} families.")


def _heading(line: Recall) -> str:
    return WAITING if line.waits_until else line.contact


def _block(line: Recall, today: date) -> Iterator[str]:
    """A family in a few lines: who and until when, whom to ring, why, what was tried."""
    child = line.child
    age = age_in_words(child.date_of_birth, today)
    until = f"come by {line.come_by}" if line.come_by else ""
    who = f"{child.number}  {child.name}, {age}"
    yield f"{who}{until:>{max(len(until) + 2, COLUMNS - len(who))}}".rstrip()
    yield from _paragraph(f"ring {', '.join(ring(line))}; home language {child.language}")
    for reason in line.reasons:
        yield from _paragraph(f"- {reason.sentence}")
    if line.last_tries:
        yield from _paragraph(f"tried {', '.join(tried(line))}")
    if line.because:
        yield from _paragraph(f"placed by {because_text(line.because)}")


def _paragraph(text: str) -> list[str]:
    return wrap(text, COLUMNS, initial_indent=INDENT, subsequent_indent=INDENT + "  ")


def _families(count: int) -> str:
    return "1 family" if count == 1 else f"{count} families"


def _out_of(shown: Sequence[Recall], lines: Sequence[Recall]) -> str:
    return "" if len(shown) == len(lines) else f", the first of {len(lines)}"
