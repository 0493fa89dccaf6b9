"""Commands: the clinic's figures, each with what it counts and how sure it is."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from textwrap import fill
from typing import Any

import click

from rehab.care.figures import Period
from rehab.cli.options import NEW_FILE, Day, desk, json_option, today_option
from rehab.cli.output import print_columns, print_json
from rehab.cli.progress import progress
from rehab.report_desk import Asked, Figure, Report
from rehab.report_desk import report as count
from rehab.report_files import PAGE, figure_csv, report_files
from rehab.report_tables import counted_children, curve_values, listing
from rehab.whole_files import write_whole
from rehab.workflow import Desk

NOTE_WIDTH = 100


@click.group()
def report() -> None:
    """Count how follow-up goes, in a month or in all."""


def days_options(command: Callable[..., None]) -> Callable[..., None]:
    """Of which days, and of which children, and as known when."""
    for name, into, what in (
        ("--operated-until", "operated_until", "Only children first operated until this day."),
        ("--operated-from", "operated_from", "Only children first operated from this day on."),
        ("--until", "until", "The last day counted (else all)."),
        ("--from", "since", "The first day counted (else all)."),
    ):
        command = click.option(name, into, type=Day(), help=what)(command)
    return today_option(command)


def figure_options(command: Callable[..., None]) -> Callable[..., None]:
    file = click.option("--csv", "csv_file", type=NEW_FILE, help="Write a file.")
    return days_options(file(json_option(click.pass_obj(command))))


@report.command()
@figure_options
def attendance(home: Path | None, **given: Any) -> None:
    """Show who was seen at 1 week, 1, 3, 6 and 12 months, and yearly, beside a published cohort.

    --from and --until choose the time points whose window ended in these days.

    Example: rehab report attendance --operated-from 2026-01-01 --csv attendance.csv
    """
    _show(home, Figure.ATTENDANCE, **given)


@report.command()
@figure_options
def correction(home: Path | None, **given: Any) -> None:
    """Show how long operated eyes waited for a contact lens or glasses.

    --from and --until choose the eyes by the day of their lens removal.

    Example: rehab report correction --from 2026-01-01
    """
    _show(home, Figure.CORRECTION, **given)


@report.command()
@figure_options
def windows(home: Path | None, **given: Any) -> None:
    """Show which checks were done inside their window, by kind.

    --from and --until choose checks by the last good day of their window.

    Example: rehab report windows --from 2026-01-01 --until 2026-06-30
    """
    _show(home, Figure.WINDOWS, **given)


@report.command("no-date")
@figure_options
def no_date(home: Path | None, **given: Any) -> None:
    """List the children in care without a booked appointment ahead.

    It is the state of today, so --from and --until change nothing.

    Example: rehab report no-date
    """
    _show(home, Figure.NO_DATE, **given)


@report.command()
@figure_options
def loss(home: Path | None, **given: Any) -> None:
    """Show how long children stay in follow-up, by Kaplan–Meier.

    With --from or --until it says besides how many were lost in these days.

    Example: rehab report loss --json
    """
    _show(home, Figure.LOSS, **given)


@report.command("all")
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), required=True, help="The folder."
)
@days_options
@click.pass_obj
def whole(home: Path | None, /, out: Path, **days: Any) -> None:
    """Write every figure into a folder: a page to print, with charts, and spreadsheet files.

    --from and --until choose what fell due or happened in these days, such as a month.

    Example: rehab report all --from 2026-04-01 --until 2026-04-30 --out april
    """
    opened = desk(home)
    counted = _counted(opened, _asked(tuple(Figure), **days))
    for name, content in report_files(counted, opened.settings.clinic):
        write_whole(out / name, content)
    _tell_failed(counted)
    click.echo(f"Wrote {out}: {counted_children(counted.operated)} operated. Open {out / PAGE}")


def _asked(
    figures: tuple[Figure, ...],
    *,
    since: date | None,
    until: date | None,
    operated_from: date | None,
    operated_until: date | None,
    today: date,
) -> Asked:
    return Asked(figures, Period(since, until), Period(operated_from, operated_until), today)


def _counted(opened: Desk, asked: Asked) -> Report:
    with progress(len(opened.store.numbers()), "Counting") as bar:
        return count(opened, asked, bar.update)


def _show(
    home: Path | None, figure: Figure, csv_file: Path | None, as_json: bool, **days: Any
) -> None:
    counted = _counted(desk(home), _asked((figure,), **days))
    table = listing(counted, figure)
    _tell_failed(counted)
    if csv_file is not None:
        write_whole(csv_file, figure_csv(table.values))
        click.echo(f"Wrote {csv_file}: {len(table.values)} rows.")
    elif as_json:
        days = {name: day and day.isoformat() for name, day in days.items()}
        steps: dict[str, object] = {}
        if figure is Figure.LOSS:
            curve = list(curve_values(counted.loss))
            steps = {"curve": curve, "lost_in_days": counted.lost_in_days}
        print_json(
            {
                "figure": figure,
                "from": days.pop("since"),
                **days,
                "notes": table.notes,
                "rows": table.values,
                **steps,
                "not_counted": dict(counted.failed),
            }
        )
    else:
        click.echo(f"{table.title}\n")
        print_columns(table.rows or [[table.nothing]], table.heads if table.rows else ())
        for note in ("", *table.notes):
            click.echo(fill(note, NOTE_WIDTH))


def _tell_failed(counted: Report) -> None:
    for number, why in counted.failed:
        click.echo(f"Not counted everywhere: {number}: {why}", err=True)
