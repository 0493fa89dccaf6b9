"""Commands: book and move a visit, and record what became of it."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import click

from rehab import booking_desk, contact_desk, workflow
from rehab.booking_desk import Wanted
from rehab.care.case import Appointment, Outcome
from rehab.care.contacts import ContactTry, TryOutcome, Way
from rehab.cli.options import Beginning, Day, TimeOfDay, desk, stamped, today_option
from rehab.measures.clock import clock
from rehab.store.store import Stamp


@click.group()
def appointment() -> None:
    """Book and move a visit, and record what became of it."""


def place_options(command: Callable[..., None]) -> Callable[..., None]:
    options = (
        click.option("--session", default="", help="The code of a session (else any that fits)."),
        click.option(
            "--at", "starts_minute", type=TimeOfDay(), help="When (else the first free time)."
        ),
        click.option("--minutes", type=int, help="How long (else what its checks take)."),
        click.option("--overbook", is_flag=True, help="Even where no room is left."),
        click.option(
            "--told",
            type=Beginning((Way.IN_PERSON, Way.PHONE, Way.COMMUNITY_WORKER), "way"),
            help="How the family was told of it: in person, phone call or community worker.",
        ),
    )
    for option in reversed(options):
        command = option(command)
    return command


@appointment.command()
@click.argument("number")
@click.argument("on", type=Day())
@place_options
@stamped
@today_option
@click.pass_obj
def book(
    home: Path | None,
    /,
    number: str,
    on: date,
    told: str | None,
    today: date,
    stamp: Stamp,
    **place: Any,
) -> None:
    """Book a visit of the child NUMBER on a day, in a session that offers what is due.

    Example: rehab appointment book K-017 2026-05-04 --who "M. Okoro"
    """
    opened = desk(home)
    booked = booking_desk.book(opened, number, Wanted(on, **place), today=today, stamp=stamp)
    _tell(opened, number, booked, today)
    _told(opened, number, booked, told, today, stamp)


@appointment.command()
@click.argument("number")
@click.argument("on", type=Day())
@click.argument("to", type=Day())
@place_options
@stamped
@today_option
@click.pass_obj
def move(
    home: Path | None,
    /,
    number: str,
    told: str | None,
    today: date,
    stamp: Stamp,
    **place: Any,
) -> None:
    """Move the visit of the child NUMBER that is booked on a day TO another.

    Example: rehab appointment move K-017 2026-05-04 2026-05-11 --who "M. Okoro"
    """
    opened = desk(home)
    on, to = place.pop("on"), place.pop("to")
    moved = booking_desk.move(opened, number, on, Wanted(to, **place), today=today, stamp=stamp)
    _tell(opened, number, moved, today)
    _told(opened, number, moved, told, today, stamp)


def _tell(opened: workflow.Desk, number: str, booked: Appointment, today: date) -> None:
    where = f"session {booked.session}" if booked.session else "no session of the diary"
    hour = "" if booked.starts_minute is None else f" at {clock(booked.starts_minute)}"
    length = f", {booked.minutes} minutes" if booked.minutes else ""
    if booked.session or booked.overbooked or hour:
        click.echo(f"Recorded {booked.id}: {booked.on:%A} {booked.on}{hour}{length}, {where}.")
    else:
        click.echo(f"Recorded {booked.id}.")
    if booked.overbooked:
        click.echo("It is overbooked: there was no room for it.")
    for sentence in booking_desk.mind(opened, number, booked, today=today):
        click.echo(f"Mind: {sentence}")
    clinic = opened.settings.clinic
    if booked.on in clinic.closed or not (booked.session or clinic.is_open(booked.on)):
        click.echo(f"Mind that the clinic file says it is shut on {booked.on:%A} {booked.on}.")


def _told(
    opened: workflow.Desk,
    number: str,
    booked: Appointment,
    way: str | None,
    today: date,
    stamp: Stamp,
) -> None:
    if way is not None:
        made = ContactTry("", today, Way(way), TryOutcome.REACHED, note=f"told of {booked.on}")
        contact_desk.log_try(opened, number, made, today=today, stamp=stamp)
        click.echo(f"The family knows ({way}).")
    elif booked.on >= today:
        click.echo("The family stays on the recall list until it is told (--told, or contact log).")


@appointment.command()
@click.argument("number")
@click.argument("on", type=Day())
@click.argument("what", type=click.Choice([o.value for o in Outcome]))
@stamped
@today_option
@click.pass_obj
def outcome(home: Path | None, number: str, on: date, what: str, today: date, stamp: Stamp) -> None:
    """Record what became of the appointment on a day.

    Example: rehab appointment outcome K-017 2026-05-11 "was not brought" --who "M. Okoro"
    """
    key = workflow.settle_appointment(
        desk(home), number, on, Outcome(what), today=today, stamp=stamp
    )
    click.echo(f"Recorded {key}: {what}.")


@appointment.command()
@click.argument("on", type=Day())
@click.option(
    "--not-brought", multiple=True, metavar="NUMBER", help="A child who was not brought; or more."
)
@click.option("--attended", type=click.IntRange(min=0), help="How many came: it must agree.")
@stamped
@today_option
@click.pass_obj
def settle(
    home: Path | None,
    /,
    on: date,
    not_brought: tuple[str, ...],
    attended: int | None,
    today: date,
    stamp: Stamp,
) -> None:
    """Record for all who were booked on a day that they attended, but for those not brought.

    Without --attended it only shows who was booked.

    Example: rehab appointment settle 2026-05-11 --not-brought K-017 --attended 0 --who "M. Okoro"
    """
    opened = desk(home)
    if attended is None:
        waiting = [b for b in opened.store.expected(on) if b[1].on == on]
        for number, _ in waiting:
            click.echo(f"{number}  {opened.store.case(number).child.name}")
        click.echo(f"{len(waiting)} booked on {on}. Nothing is recorded yet: count who came, then")
        click.echo("give --attended with that count, and --not-brought for each who did not come.")
        return
    settled = workflow.settle_day(opened, on, not_brought, attended, today=today, stamp=stamp)
    for number, came in settled:
        click.echo(f"{number}  {came}")
    missed = sum(came is Outcome.WAS_NOT_BROUGHT for _, came in settled)
    click.echo(f"{len(settled) - missed} attended, {missed} not brought.")
    if missed:
        click.echo("Ring them today: rehab recall list")
