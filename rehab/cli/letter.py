"""Commands: write letters."""

from datetime import date
from pathlib import Path

import click

from rehab import workflow
from rehab.cli.options import NEW_FILE, desk, today_option
from rehab.letters.family import family_letter
from rehab.whole_files import write_whole


@click.group()
def letter() -> None:
    """Write letters."""


@letter.command()
@click.argument("number")
@click.option("--out", type=NEW_FILE, help="Else NUMBER.html here.")
@today_option
@click.pass_obj
def family(home: Path | None, number: str, out: Path | None, today: date) -> None:
    """Write the letter for the family of the child NUMBER, to read on a screen or to print.

    Example: rehab letter family K-017 --out K-017.html
    """
    opened = desk(home)
    made = workflow.plan_of(opened, opened.store.case(number), today=today)
    path = out or Path(f"{number.replace('/', '-')}.html")
    write_whole(path, family_letter(made, opened.settings.clinic).encode())
    click.echo(f"Wrote {path}.")
