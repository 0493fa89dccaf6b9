"""Commands: the clinic's figures, each with what it counts and how sure it is."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from textwrap import fill
from typing import Any

import click

from rehab.care.figures import Period
from rehab.cli.options import Day, desk, json_option, today_option
from rehab.cli.output import print_columns, print_json
from rehab.report_desk import Asked, Figure, Report
from rehab.report_desk import report as count
from rehab.report_files import PAGE, figure_csv, report_files
from rehab.report_tables import counted_children, curve_values, listing
from rehab.whole_files import write_whole

NOTE_WIDTH = 100


@click.group()
def report() -> None:
    """Count how follow-up goes, in a month or in all."""


def period_options(command: Callable[..., None]) -> Callable[..., None]:
    first = click.option("--from", "first", type=Day(), help="The first day (else all).")
    last = click.option("--until", "last", type=Day(), help="The last day (else all).")
    return first(last(today_option(command)))


def figure_options(command: Callable[..., None]) -> Callable[..., None]:
    file = click.option(
        "--csv", "csv_file", type=click.Path(path_type=Path, dir_okay=False), help="Write a file."
    )
    return period_options(file(json_option(click.pass_obj(command))))


@report.command()
@figure_options
def attendance(home: Path | None, **given: Any) -> None:
    """Show who was seen at 1 week, 1, 3, 6 and 12 months, and yearly, beside a published cohort.

    --from and --until choose children by the day of their first lens removal.

    Example: rehab report attendance --from 2026-01-01 --csv attendance.csv
    """
    _show(home, Figure.ATTENDANCE, **given)


@report.command()
@figure_options
def correction(home: Path | None, **given: Any) -> None:
    """Show how long operated eyes waited for a contact lens or glasses.

    --from and --until choose children by the day of their first lens removal.

    Example: rehab report correction
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

    With --from or --until: children by the day of their first lens removal.

    Example: rehab report no-date
    """
    _show(home, Figure.NO_DATE, **given)


@report.command()
@figure_options
def loss(home: Path | None, **given: Any) -> None:
    """Show how long children stay in follow-up, by Kaplan–Meier.

    --from and --until choose children by the day of their first lens removal.

    Example: rehab report loss --json
    """
    _show(home, Figure.LOSS, **given)


@report.command("all")
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), required=True, help="The folder."
)
@period_options
@click.pass_obj
def whole(home: Path | None, out: Path, first: date | None, last: date | None, today: date) -> None:
    """Write every figure into a folder: a page to print, with charts, and spreadsheet files.

    Example: rehab report all --out figures
    """
    opened = desk(home)
    counted = count(opened, Asked(tuple(Figure), Period(first, last), today))
    for name, content in report_files(counted, opened.settings.clinic):
        write_whole(out / name, content)
    _tell_failed(counted)
    click.echo(f"Wrote {out}: {counted_children(counted.operated)} operated. Open {out / PAGE}")


def _show(
    home: Path | None,
    figure: Figure,
    first: date | None,
    last: date | None,
    today: date,
    csv_file: Path | None,
    as_json: bool,
) -> None:
    period = Period(first, last)
    counted = count(desk(home), Asked((figure,), period, today))
    table = listing(counted, figure)
    _tell_failed(counted)
    if csv_file is not None:
        write_whole(csv_file, figure_csv(table.values))
        click.echo(f"Wrote {csv_file}: {len(table.values)} rows.")
    elif as_json:
        steps = {"curve": list(curve_values(counted.loss))} if figure is Figure.LOSS else {}
        print_json(
            {
                "figure": figure,
                "today": today.isoformat(),
                "from": first and first.isoformat(),
                "until": last and last.isoformat(),
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
