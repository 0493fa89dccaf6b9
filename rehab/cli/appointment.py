"""Commands: book a visit and record what became of it."""

from datetime import date
from pathlib import Path

import click

from rehab import workflow
from rehab.care.case import Appointment, Outcome
from rehab.cli.options import Day, desk, stamped, today_option
from rehab.store.store import Stamp


@click.group()
def appointment() -> None:
    """Book a visit and record what became of it."""


@appointment.command()
@click.argument("number")
@click.argument("on", type=Day())
@stamped
@today_option
@click.pass_obj
def book(home: Path | None, number: str, on: date, today: date, stamp: Stamp) -> None:
    """Book a visit of the child NUMBER on a day.

    Example: rehab appointment book K-017 2026-05-04 --who "M. Okoro"
    """
    opened = desk(home)
    key = workflow.add_appointment(opened, number, Appointment("", on), today=today, stamp=stamp)
    click.echo(f"Recorded {key}.")
    if not opened.settings.clinic.is_open(on):
        click.echo(f"Mind that the clinic file says it is shut on {on:%A} {on}.")


@appointment.command()
@click.argument("number")
@click.argument("on", type=Day())
@click.argument("what", type=click.Choice([o.value for o in Outcome]))
@stamped
@today_option
@click.pass_obj
def outcome(home: Path | None, number: str, on: date, what: str, today: date, stamp: Stamp) -> None:
    """Record what became of the appointment on a day.

    Example: rehab appointment outcome K-017 2026-05-04 "was not brought" --who "M. Okoro"
    """
    key = workflow.settle_appointment(
        desk(home), number, on, Outcome(what), today=today, stamp=stamp
    )
    click.echo(f"Recorded {key}: {what}.")
