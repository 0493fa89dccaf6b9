"""Commands: remind families of their appointments, each once, and see what became of it."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, date, datetime
from pathlib import Path

import click

from rehab.care.case import Appointment, Case
from rehab.care.contacts import Way
from rehab.care.messages import Message, MessageState
from rehab.care.reminding import segments
from rehab.cli.options import desk, json_option, stamped, today_option
from rehab.cli.output import print_columns, print_json
from rehab.contact_text import named
from rehab.errors import SettingsError
from rehab.outbox_desk import ANSWERS, Office, send_waiting, settle
from rehab.reminder_desk import write_due
from rehab.senders import FolderSender, Sender, SmtpSender
from rehab.settings import Settings, read_settings, read_smtp_password
from rehab.store.store import Stamp, Store, open_store

SHOWN_OF_UID = 12
STATES = click.Choice([state.value for state in MessageState])
WAYS = {"texts": (Way.TEXT,), "e-mails": (Way.EMAIL,), "all": (Way.TEXT, Way.EMAIL)}


@click.group()
def reminder() -> None:
    """Remind families of their appointments."""


@reminder.command()
@today_option
@click.pass_obj
def write(home: Path | None, today: date) -> None:
    """Write the messages that are due today to the outbox; run again, it writes none twice.

    Families are written to only in a way that they agreed to; the others are listed to be rung.

    Example: rehab reminder write --today 2026-05-01
    """
    written = write_due(desk(home), today=today, at=_now())
    known = f"; {written.known} there already" if written.known else ""
    click.echo(f"{_count(len(written.new))} written{known}.")
    if written.unreachable:
        click.echo("These families agreed to no message; please ring them:")
        print_columns([(*_booked(*one), _numbers(one[0])) for one in written.unreachable])
    if written.shut:
        click.echo("Not reminded of what cannot be kept; please move these appointments:")
        print_columns([(*_booked(case, booked), why) for case, booked, why in written.shut])
    if written.untranslated:
        click.echo("Written in English, as there is no template for the family's language:")
        print_columns(
            [(c.child.number, c.child.name, c.child.language) for c in written.untranslated]
        )
        click.echo("Ring those who do not read it, or add clinic/reminder/xx.txt.")


@reminder.command("list")
@click.option("--state", "states", type=STATES, multiple=True, help="Only in this state.")
@json_option
@click.pass_obj
def list_messages(home: Path | None, states: Sequence[str], as_json: bool) -> None:
    """List the messages with what became of each.

    Of one that stays "sending" nobody knows whether it went out. It is never sent again by itself.

    Example: rehab reminder list --state sending
    """
    with _store(read_settings(home)).transaction() as tx:
        found = tx.outbox.messages(map(MessageState, states or tuple(MessageState)))
    if as_json:
        print_json([_as_json(message) for message in found])
        return
    print_columns(
        [_row(message) for message in found],
        ("uid", "state", "since", "child", "appointment", "way", "address", "problem"),
    )


@reminder.command()
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Write them here as files, for another program to send.",
)
@click.option("--smtp", is_flag=True, help="E-mails through the server of [smtp].")
@click.option("--only", type=click.Choice(list(WAYS)), default="all", show_default=True)
@today_option
@click.pass_obj
def send(home: Path | None, folder: Path | None, smtp: bool, only: str, today: date) -> None:
    """Send the messages that wait, each once.

    What was cancelled, moved or is no longer agreed to since it was written is not sent.

    Example: rehab reminder send --folder outbox --today 2026-05-01
    """
    if (folder is None) != smtp:
        raise click.UsageError("Choose one of --folder and --smtp.")
    settings = read_settings(home)
    sender: Sender = FolderSender(folder) if folder else _smtp(settings, _now())
    office = Office(_store(settings), settings.clinic, today, _now)
    told: list[Message] = []
    try:
        for message in send_waiting(office, sender, WAYS[only]):
            told.append(message)
            if message.state is not MessageState.SENT:
                click.echo("  ".join(_row(message)))
    finally:
        states = [message.state for message in told]
        counts = [f"{states.count(s)} {s}" for s in MessageState if s in states]
        click.echo(f"{_count(len(told))}{': ' if counts else ''}{', '.join(counts)}.")
    with office.store.transaction() as tx:
        open_ones = len(tx.outbox.messages([MessageState.SENDING]))
    if open_ones:
        click.echo(
            f'{_count(open_ones)} "sending": nobody knows whether it went out. '
            "See: rehab reminder list --state sending"
        )


@reminder.command("settle")
@click.argument("uid")
@click.argument("state", type=click.Choice([state.value for state in ANSWERS]))
@stamped
@click.pass_obj
def settle_message(home: Path | None, uid: str, state: str, stamp: Stamp) -> None:
    """Say what became of a message of which nobody knew, or that failed.

    UID is as listed. A message that is settled as "waiting" is sent again.

    Example: rehab reminder settle 4be1c0a2 sent --who "M. Okoro"
    """
    settled = settle(_store(read_settings(home)), uid, MessageState(state), stamp)
    click.echo(f"Recorded {settled.name[:SHOWN_OF_UID]}: {settled.state}.")


def _now() -> datetime:
    return datetime.now(UTC)


def _store(settings: Settings) -> Store:
    """The records without the decision tables, which messages do not need."""
    opened = open_store(settings.database_url)
    click.get_current_context().call_on_close(opened.close)
    return opened


def _smtp(settings: Settings, at: datetime) -> SmtpSender:
    clinic = settings.clinic
    if clinic.smtp is None:
        raise SettingsError(
            "the clinic file names no mail server.",
            where=str(settings.home),
            do="Write a part [smtp] with host and sender into clinic.toml.",
        )
    return SmtpSender(clinic.smtp, clinic.name, at, read_smtp_password())


def _row(message: Message) -> tuple[str, ...]:
    since = f"{message.changed_at:%Y-%m-%d %H:%M} UTC" if message.changed_at else ""
    return (
        message.name[:SHOWN_OF_UID],
        message.state,
        since,
        message.child_number,
        str(message.appointment_on),
        message.way,
        message.address,
        message.problem,
    )


def _as_json(message: Message) -> dict[str, object]:
    return {
        **asdict(message),
        "appointment_on": str(message.appointment_on),
        "changed_at": message.changed_at and message.changed_at.isoformat(),
        "segments": segments(message.text) if message.way is Way.TEXT else None,
    }


def _booked(case: Case, appointment: Appointment) -> tuple[str, str, str]:
    return case.child.number, case.child.name, str(appointment.on)


def _numbers(case: Case) -> str:
    known = [f"{named(c)} {c.phone}".strip() for c in case.contacts if c.phone]
    return ", ".join(known or filter(None, [case.child.phone])) or "no number recorded"


def _count(many: int) -> str:
    return f"{many} message{'' if many == 1 else 's'}"
