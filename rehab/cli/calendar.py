"""Commands: calendar files for families and for the clinic, feeds, and a calendar server."""

from datetime import date, timedelta
from pathlib import Path

import click

from rehab import workflow
from rehab.calendar_server import Address
from rehab.calendars import calendar_file
from rehab.cli.options import NEW_FILE, Day, desk, file_name, today_option
from rehab.clinic_calendars import clinic_calendar
from rehab.errors import RecordError
from rehab.feed_folder import feed, sites_of
from rehab.measures.dates import add_months
from rehab.publish_desk import (
    LEFT_ALONE,
    Choice,
    Fate,
    Told,
    appointments_part,
    counted,
    publish,
    sessions_part,
)
from rehab.refresh import bring_up_to_date
from rehab.settings import read_calendar_password
from rehab.whole_files import write_whole

A_DAY = timedelta(days=1)
names_option = click.option(
    "--names", is_flag=True, help="With the children's names; else their numbers only."
)


@click.group()
def calendar() -> None:
    """Write calendars and feeds, and publish to a server."""


@calendar.command()
@click.argument("number")
@click.option("--out", type=NEW_FILE, help="Else NUMBER.ics here.")
@today_option
@click.pass_obj
def export(home: Path | None, number: str, out: Path | None, today: date) -> None:
    """Write the calendar of the child NUMBER, for any phone; the plan is refreshed first.

    Example: rehab calendar export K-017 --out K-017.ics
    """
    opened = desk(home)
    made, _, entries = workflow.refresh(opened, number, today=today)
    path = out or Path(f"{file_name(number)}.ics")
    clinic, sites = opened.settings.clinic, sites_of(opened, entries)
    write_whole(path, calendar_file(made.child, entries, clinic, sites=sites))
    click.echo(f"Wrote {path}.")


@calendar.command()
@click.option("--from", "first", type=Day(), required=True, help="The first day.")
@click.option("--until", "last", type=Day(), required=True, help="The last day.")
@click.option("--site", default="", help="Only at this site, by its code.")
@click.option("--session", "pattern", default="", help="Only these sessions, by their code.")
@click.option("--out", type=NEW_FILE, required=True)
@click.option("--appointments", is_flag=True, help="Each appointment as an event as well.")
@names_option
@today_option
@click.pass_obj
def session(
    home: Path | None,
    /,
    first: date,
    last: date,
    out: Path,
    names: bool,
    today: date,
    **chosen: str | bool,
) -> None:
    """Write the clinic's own calendar: its sessions and who is booked into them.

    Example: rehab calendar session --from 2026-05-04 --until 2026-05-29 --out clinic.ics
    """
    if last < first:
        raise RecordError(f"{last} is before {first}.", where="--until", do="Give a later day.")
    opened = desk(home)
    bring_up_to_date(opened, today, follow=True)
    choice = Choice(str(chosen["site"]), str(chosen["pattern"]))
    until = last + A_DAY
    events = sessions_part(opened, choice, first, until, names=names, today=today).events
    held = len(events)
    if chosen["appointments"]:
        events += appointments_part(opened, choice, first, until, names=names).events
    write_whole(out, clinic_calendar(events, opened.settings.clinic.name))
    click.echo(f"Wrote {out}: {_count(held, 'session')}.")


@calendar.command("feed")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), required=True)
@click.option("--child", "number", help="Only the calendar of this child.")
@click.option(
    "--index",
    type=NEW_FILE,
    help="A file for the clinic that says whose each calendar is.",
)
@today_option
@click.pass_obj
def feed_command(
    home: Path | None, out: Path, number: str | None, index: Path | None, today: date
) -> None:
    """Bring a folder of families' calendars up to date, each under a name nobody can guess.

    Serve the folder over https without a list of its files, and give each family its address.

    Example: rehab calendar feed --out feeds --index feeds.csv
    """
    fed = feed(desk(home), out, today=today, only=number, index=index)
    emptied = f", {fed.emptied} emptied" if fed.emptied else ""
    click.echo(f"{_count(fed.calendars, 'calendar')}: {fed.written} written{emptied}.")


@calendar.command("publish")
@click.option("--url", required=True, help="The address of one calendar on the server.")
@click.option("--user", default="", help="Its password is read from REHAB_CALENDAR_PASSWORD.")
@click.option("--site", default="", help="Only what is at this site, by its code.")
@click.option("--sessions", "of_sessions", is_flag=True, help="The sessions, not appointments.")
@click.option("--overwrite", is_flag=True, help="Put ours back over what was changed there.")
@click.option("--timeout", type=click.IntRange(1, 600), default=20, show_default=True)
@names_option
@today_option
@click.pass_obj
def publish_command(
    home: Path | None, /, url: str, user: str, names: bool, today: date, **chosen: str | int | bool
) -> None:
    """Keep the clinic's appointments up to date on a calendar server (CalDAV).

    Only what changed is sent. What a person changed or deleted there is told and left alone.

    Example: rehab calendar publish --url https://calendars.example/clinic/ --user desk
    """
    address = Address(url, user, read_calendar_password(), int(chosen["timeout"]))
    opened = desk(home)
    bring_up_to_date(opened, today, follow=True)
    choice = Choice(str(chosen["site"]))
    if chosen["of_sessions"]:
        until = add_months(today, opened.settings.clinic.horizon_months)
        part = sessions_part(opened, choice, today, until, names=names, today=today)
    else:
        part = appointments_part(opened, choice, today, names=names)
    told: list[Told] = []
    for one in publish(opened, part, address, overwrite=bool(chosen["overwrite"])):
        told.append(one)
        if one.fate is not Fate.KEPT:
            click.echo(f"{one.title}: {one.fate}{f' ({one.what})' if one.what else ''}")
    counts = ", ".join(f"{many} {fate}" for fate, many in counted(told).items())
    click.echo(f"{_count(len(told), 'event')}{f': {counts}' if counts else ''}.")
    if not chosen["overwrite"] and any(one.fate in LEFT_ALONE for one in told):
        click.echo("What was changed there was left alone; --overwrite puts ours in its place.")


def _count(many: int, word: str) -> str:
    return f"{many} {word}{'' if many == 1 else 's'}"
