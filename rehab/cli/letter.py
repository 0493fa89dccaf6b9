"""Commands: write letters."""

from datetime import date
from pathlib import Path

import click

from rehab.cli.options import NEW_FILE, desk, today_option
from rehab.letter_desk import make_letter
from rehab.letters.html_page import html_of
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
    made = make_letter(opened, "family", opened.store.case(number), today=today)
    path = out or Path(f"{number.replace('/', '-')}.html")
    write_whole(path, html_of(made).encode())
    click.echo(f"Wrote {path}.")
