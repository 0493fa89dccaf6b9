"""Commands: record drops and other treatment as prescribed, word for word."""

from datetime import date
from pathlib import Path
from typing import BinaryIO

import click

from rehab import prescription_desk
from rehab.care.case import Prescription
from rehab.cli.options import Day, corrects_option, desk, json_option, stamped, today_option
from rehab.cli.output import prescription_json, print_json
from rehab.errors import RecordError
from rehab.store.store import Stamp

# Far more than a text that can be recorded, so that the message can say how long it is.
MOST_BYTES = 100_000


@click.group()
def prescription() -> None:
    """Record drops and other treatment as prescribed."""


@prescription.command()
@click.argument("number")
@click.option("--on", type=Day(), required=True, help="Day of the prescription.")
@click.option("--until", type=Day(), required=True, help="The last day on which it holds.")
@click.option("--text", help="Word for word; may hold line breaks.")
@click.option("--file", type=click.File("rb"), help="A file with the text, - for typed input.")
@click.option("--prescriber", required=True, help="Who prescribed it.")
@corrects_option
@stamped
@today_option
@click.pass_obj
def add(
    home: Path | None,
    /,
    number: str,
    text: str | None,
    file: BinaryIO | None,
    today: date,
    stamp: Stamp,
    **given: str | date,
) -> None:
    """Record a prescription for the child NUMBER.

    Letters print it as it is written here until its last day, and never after that.

    Example: rehab prescription add K-017 --on 2026-04-20 --until 2026-05-18
    --text "Drops, right eye: as on the clinic's drop card no. 3" --prescriber "Dr R. Haddad"
    --who "Dr R. Haddad"
    """
    if (text is None) == (file is None):
        raise click.UsageError("Give one of --text and --file.")
    written = _read(file, number) if file is not None else str(text)
    corrects = given.pop("corrects")
    record = Prescription("", text=written.rstrip("\n"), **given)  # type: ignore[arg-type]
    opened = desk(home)
    key = prescription_desk.record_prescription(
        opened,
        number,
        record,
        today=today,
        stamp=stamp,
        corrects=corrects,  # type: ignore[arg-type]
    )
    click.echo(f"Recorded {key}, which letters print until {record.until}:")
    _print(record)


@prescription.command("list")
@click.argument("number")
@today_option
@json_option
@click.pass_obj
def list_prescriptions(home: Path | None, number: str, today: date, as_json: bool) -> None:
    """Show what was prescribed for the child NUMBER, word for word.

    Example: rehab prescription list K-017
    """
    case = desk(home).store.case(number)
    if as_json:
        print_json([prescription_json(p) for p in case.prescriptions])
        return
    for p in case.prescriptions:
        over = " (over)" if p.until < today else ""
        click.echo(f"{p.id}  {p.on} until {p.until}{over}, prescribed by {p.prescriber}")
        _print(p)
    if not case.prescriptions:
        click.echo("No prescription is recorded.")


def _print(record: Prescription) -> None:
    for line in record.text.split("\n"):
        click.echo(f"    {line}".rstrip())


def _read(file: BinaryIO, number: str) -> str:
    """The text of a file as it stands; only how lines end differs between machines."""
    raw = file.read(MOST_BYTES + 1)
    try:
        if len(raw) > MOST_BYTES:
            raise ValueError
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except ValueError:
        raise RecordError(
            "the file is no text in UTF-8, or far too long for a prescription.",
            where=number,
            do="Save it as plain text in UTF-8, with the words of the prescription alone.",
        ) from None
