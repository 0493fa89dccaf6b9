"""Commands: write a family's calendar file."""

from datetime import date
from pathlib import Path

import click

from rehab import workflow
from rehab.calendars import calendar_file
from rehab.cli.options import desk, today_option
from rehab.whole_files import write_whole


@click.group()
def calendar() -> None:
    """Write a family's calendar file."""


@calendar.command()
@click.argument("number")
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="Else NUMBER.ics here."
)
@today_option
@click.pass_obj
def export(home: Path | None, number: str, out: Path | None, today: date) -> None:
    """Write the calendar of the child NUMBER, for any phone; the plan is refreshed first.

    Example: rehab calendar export K-017 --out K-017.ics
    """
    opened = desk(home)
    made, _, entries = workflow.refresh(opened, number, today=today)
    path = out or Path(f"{number.replace('/', '-')}.ics")
    write_whole(path, calendar_file(made.child, entries, opened.settings.clinic))
    click.echo(f"Wrote {path}.")
