"""Commands: accept or stop occlusion; only a person does."""

from datetime import date
from pathlib import Path

import click

from rehab import workflow
from rehab.cli.options import Day, HoursPerDay, desk, stamped, stamped_with_reason, today_option
from rehab.store.store import Stamp


@click.group()
def occlusion() -> None:
    """Accept or stop occlusion."""


@occlusion.command()
@click.argument("number")
@click.option(
    "--hours",
    "minutes_per_day",
    type=HoursPerDay(),
    help="Fixed hours a day instead of the hours proposed by age.",
)
@click.option("--starts", type=Day(), help="First day (else the day proposed).")
@stamped
@today_option
@click.pass_obj
def accept(
    home: Path | None,
    number: str,
    minutes_per_day: int | None,
    starts: date | None,
    today: date,
    stamp: Stamp,
) -> None:
    """Accept the occlusion proposed for the child NUMBER, as the orthoptist in charge.

    Example: rehab occlusion accept K-017 --who "S. Lindqvist"
    """
    key = workflow.accept_occlusion(
        desk(home),
        number,
        today=today,
        minutes_per_day=minutes_per_day,
        starts=starts,
        stamp=stamp,
    )
    click.echo(f"Recorded {key}. See the days: rehab plan show {number}")


@occlusion.command()
@click.argument("number")
@click.option("--on", type=Day(), required=True, help="The first day without occlusion.")
@stamped_with_reason
@click.pass_obj
def stop(home: Path | None, number: str, on: date, stamp: Stamp) -> None:
    """Stop occlusion of the child NUMBER; acuity is then watched for a year.

    Example: rehab occlusion stop K-017 --on 2027-03-01 --who "S. Lindqvist" --why "equal twice"
    """
    key = workflow.stop_occlusion(desk(home), number, on=on, stamp=stamp)
    click.echo(f"Recorded {key}: no occlusion from {on}.")
