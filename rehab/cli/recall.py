"""Commands: list the families whom someone must contact."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path

import click

from rehab import workflow
from rehab.care.recall import LOOK_AHEAD, Recall
from rehab.cli.options import NEW_FILE, Day, desk, json_option, today_option
from rehab.cli.output import Json, because_json, print_json
from rehab.cli.progress import refreshed
from rehab.recall_desk import ListForAnotherDay, StoredList, list_for_another_day
from rehab.recall_files import recall_csv, recall_sheet, ring, tried
from rehab.whole_files import write_whole

LINES_AT_ONCE = 500
MOST_SHOWN = 1_000_000


@click.group()
def recall() -> None:
    """List the families whom someone must contact."""


@recall.command("list")
@click.option(
    "--by", type=Day(), help="Look ahead to windows that close by this day (else 14 days)."
)
@click.option(
    "--first", type=click.IntRange(1, MOST_SHOWN), help="Only the first families of the list."
)
@click.option("--csv", "csv_file", type=NEW_FILE, help="Write a file for a spreadsheet.")
@click.option("--xlsx", "xlsx_file", type=NEW_FILE, help="Write a workbook.")
@click.option(
    "--page", "page_file", type=NEW_FILE, help="Write a page (HTML) to print and write on."
)
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
    if by is None or by == today + LOOK_AHEAD:
        for _ in refreshed(opened, today, follow=False):
            pass
        listed: StoredList | ListForAnotherDay = StoredList(opened.store)
    else:
        listed = list_for_another_day(opened, today=today, by=by)
    if as_json:
        print_json([_line_json(line) for line in listed.families(first)])
        return
    counts = listed.counts()
    total = sum(count for _, count in counts)
    for kind, file in wanted:
        shown = tuple(listed.families(first))
        write_whole(file, _content(kind, shown, opened, today))
        out_of = "" if len(shown) == total else f", the first of {total}"
        click.echo(f"Wrote {file}: {_families(len(shown))}{out_of}.")
        return
    if not counts:
        click.echo("Nobody needs to be contacted.")
        return
    click.echo(f"{_families(total)} to contact: {', '.join(f'{n} {when}' for when, n in counts)}.")
    for lines in in_chunks(listed.blocks(first)):
        click.echo("\n".join(lines))
    if first is not None and first < total:
        click.echo(f"\nThese are the first {first} of {total} families.")


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


def in_chunks(blocks: Iterable[tuple[str, str]]) -> Iterator[list[str]]:
    """Each family under its heading, some hundreds at a time, since a list can be very long."""
    above = ""
    lines: list[str] = []
    for heading, block in blocks:
        if heading != above:
            lines.append(f"\n{heading[:1].upper()}{heading[1:]}")
            above = heading
        lines.append(block)
        if len(lines) >= LINES_AT_ONCE:
            yield lines
            lines = []
    if lines:
        yield lines


def _families(count: int) -> str:
    return "1 family" if count == 1 else f"{count} families"
