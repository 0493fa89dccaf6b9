"""Commands: record operations."""

from datetime import date
from pathlib import Path

import click

from rehab import corrections, workflow
from rehab.care.case import Cause, Eye, Procedure, Surgery, Sutures
from rehab.cli.options import Day, EyeName, corrects_option, desk, stamped, today_option
from rehab.measures.refraction import parse_target
from rehab.store.store import Stamp


@click.group()
def surgery() -> None:
    """Record operations."""


@surgery.command()
@click.argument("number")
@click.option("--eye", type=EyeName(), required=True)
@click.option("--on", type=Day(), required=True, help="Day of the operation.")
@click.option("--procedure", type=click.Choice([p.value for p in Procedure]), required=True)
@click.option("--sutures", type=click.Choice([s.value for s in Sutures]), default="unknown")
@click.option("--cause", type=click.Choice([c.value for c in Cause]), default="unknown")
@click.option("--target", help="Residual refraction aimed at with an implant, such as +6.00.")
@corrects_option
@stamped
@today_option
@click.pass_obj
def add(
    home: Path | None,
    /,
    number: str,
    eye: Eye,
    on: date,
    today: date,
    stamp: Stamp,
    **said: str | None,
) -> None:
    """Record an operation on one eye of the child NUMBER.

    Example: rehab surgery add K-017 --eye right --on 2026-03-30 --procedure "lens removal"
    --sutures absorbable --who "M. Okoro"
    """
    target = said["target"]
    record = Surgery(
        "",
        eye,
        on,
        Procedure(str(said["procedure"])),
        Sutures(str(said["sutures"])),
        Cause(str(said["cause"])),
        parse_target(target) if target is not None else None,
    )
    opened, corrects = desk(home), said["corrects"]
    if corrects is None:
        key = workflow.add_surgery(opened, number, record, today=today, stamp=stamp)
    else:
        key = corrections.correct(opened, corrects, record, today=today, stamp=stamp)
    click.echo(f"Recorded {key}. See the plan: rehab plan show {number}")
