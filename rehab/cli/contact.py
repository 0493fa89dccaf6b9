"""Commands: how a family is reached, what it has stated, and every try to reach it."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import click

from rehab import contact_desk
from rehab.care.contacts import Consent, Contact, ContactTry, Limits, TryOutcome, Way
from rehab.care.sharing import SchoolTopic, Sharing
from rehab.cli.options import (
    Beginning,
    Command,
    Day,
    TimeOfDay,
    Weekday,
    desk,
    json_option,
    seen_option,
    stamped,
    stamped_with_reason,
    today_option,
)
from rehab.cli.output import Json, print_columns, print_json, sharing_json
from rehab.contact_text import (
    changes,
    contact_lines,
    limits_text,
    named,
    next_lines,
    sharing_text,
    try_text,
)
from rehab.measures.clock import clock
from rehab.measures.dates import WEEKDAYS
from rehab.store.store import Stamp

TRIES_SHOWN = 5
CONSENTS = click.Choice([consent.value for consent in Consent])


class Distance(click.ParamType[tuple[str, int]]):
    """SITE=KM."""

    name = "site=km"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, int]:
        site, _, km = str(value).rpartition("=")
        # More than five digits are no distance on earth.
        if not site.strip() or not re.fullmatch("[0-9]{1,5}", km.strip()):
            self.fail(f"{value!r} is not SITE=KM; write such as north=12", param, ctx)
        return site.strip(), int(km)


class DayOrDaysOn(Day):
    """A day, or +2 for two days after the try."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        said = str(value)
        if said.startswith("+") and said[1:].isdecimal() and len(said) < 5:
            return int(said[1:])
        return super().convert(value, param, ctx)


@click.group()
def contact() -> None:
    """Record how a family is reached, and every try."""


def _details(command: Command) -> Command:
    for option in (
        click.option("--email-consent", type=CONSENTS, help="Agreed to e-mail?"),
        click.option("--text-consent", type=CONSENTS, help="Agreed to text messages?"),
        click.option("--address", help="To write to; may hold line breaks."),
        click.option("--email"),
        click.option("--phone", help="As it is dialled."),
        click.option("--relation", help="To the child, such as mother."),
    ):
        command = option(command)
    return command


@contact.command()
@click.argument("number")
@click.option("--name", required=True)
@_details
@stamped
@click.pass_obj
def add(home: Path | None, /, number: str, stamp: Stamp, **given: str | None) -> None:
    """Add a person who answers for the child NUMBER.

    Example: rehab contact add K-017 --name "Gulnara T" --relation mother --phone "+00 555 0118"
    --text-consent yes --who "M. Okoro"
    """
    key = contact_desk.add_contact(desk(home), number, Contact("", **_given(given)), stamp=stamp)
    click.echo(f"Recorded {key}.")


@contact.command()
@click.argument("key")
@click.option("--name")
@_details
@seen_option
@stamped_with_reason
@click.pass_obj
def change(
    home: Path | None, /, key: str, seen: int | None, stamp: Stamp, **given: str | None
) -> None:
    """Change what is given of the contact KEY.

    What is not given stays as it is, and the history keeps what was.

    Example: rehab contact change K-017/C1 --phone "+00 555 0119" --why "new number"
    --who "M. Okoro"
    """
    what = _given(given)
    if not what:
        raise click.UsageError("Give what changes, such as --phone.")
    now = contact_desk.change_contact(desk(home), key, what, stamp=stamp, seen=seen)
    click.echo(f"Changed {key}: {named(now)}")
    _indented(contact_lines(now))


@contact.command()
@click.argument("key")
@seen_option
@stamped_with_reason
@click.pass_obj
def remove(home: Path | None, key: str, seen: int | None, stamp: Stamp) -> None:
    """Take off the contact KEY; the history keeps it.

    Example: rehab contact remove K-017/C1 --why "asked not to be rung" --who "M. Okoro"
    """
    gone = contact_desk.remove_contact(desk(home), key, stamp=stamp, seen=seen)
    click.echo(f"Removed {key}: {named(gone)}.")


@contact.command("list")
@click.argument("number")
@click.option("--history", is_flag=True, help="What was recorded before, by whom, when and why.")
@json_option
@click.pass_obj
def list_contacts(home: Path | None, number: str, history: bool, as_json: bool) -> None:
    """Show how a family is reached, and the last tries.

    Example: rehab contact list K-017 --history
    """
    reach = contact_desk.reach_of(desk(home), number)
    if as_json:
        print_json(_reach_json(reach, history))
        return
    case = reach.case
    child = case.child
    family = f"; family {child.family}" if child.family else ""
    phone = f"; number of the family {child.phone}" if child.phone else ""
    click.echo(f"{child.number}  {child.name}; home language {child.language}{family}{phone}")
    for one in case.contacts:
        click.echo(f"{one.id}  {named(one)}; version {reach.versions[one.id]}")
        _indented(contact_lines(one))
    if not case.contacts:
        click.echo("No contact is recorded.")
    click.echo(f"Limits: {limits_text(case.limits) or 'none stated'}.")
    if case.sharing:
        click.echo(f"{case.sharing.id}: {sharing_text(case.sharing)}.")
    tries = case.tries if history else case.tries[-TRIES_SHOWN:]
    click.echo("Tries, the last first:" if tries else "No try is logged.")
    _indented(try_text(made, reach.tried_by[made.id]) for made in reversed(tries))
    if history:
        click.echo("History:")
        print_columns(
            (f"    {v.stamp.at:%Y-%m-%d}", v.key, v.stamp.by, told + _why(v.stamp))
            for v, told in changes(reach.history)
        )


@contact.command()
@click.argument("number")
@click.option(
    "--weekday",
    "weekdays",
    type=Weekday(),
    multiple=True,
    help="A day on which they can come; may be given again.",
)
@click.option("--not-before", "not_before_minute", type=TimeOfDay())
@click.option("--farthest-km", type=click.IntRange(min=0))
@click.option("--distance", "distances_km", type=Distance(), multiple=True, help="From home.")
@click.option("--clear", is_flag=True, help="Forget what was stated before.")
@stamped
@click.pass_obj
def limits(home: Path | None, /, number: str, clear: bool, stamp: Stamp, **given: Any) -> None:
    """Record what a family has stated it can do.

    What is not given stays as it was; --clear forgets it.

    Example: rehab contact limits K-017 --weekday Monday --weekday Thursday --not-before 10:00
    --who "M. Okoro"
    """
    stated = {name: value for name, value in given.items() if value not in (None, ())}
    if not stated and not clear:
        raise click.UsageError("Give what the family has stated, or --clear.")
    if "weekdays" in stated:
        stated["weekdays"] = tuple(sorted(set(stated["weekdays"])))
    if "distances_km" in stated:
        stated["distances_km"] = tuple(sorted(dict(stated["distances_km"]).items()))
    now = contact_desk.state_limits(desk(home), number, stated, clear=clear, stamp=stamp)
    click.echo(f"Recorded {now.id}: {limits_text(now) or 'no limits'}.")


@contact.command()
@click.argument("number")
@click.option(
    "--school",
    "topics",
    type=click.Choice([topic.value for topic in SchoolTopic]),
    multiple=True,
    help="The operation; that one eye sees less well. May be given again.",
)
@click.option("--nothing", is_flag=True, help="No more than patch and glasses.")
@click.option("--agreed-by", required=True, help="Who of the family agreed.")
@click.option("--on", type=Day(), help="When, else today.")
@stamped
@today_option
@click.pass_obj
def agree(
    home: Path | None, /, number: str, nothing: bool, today: date, stamp: Stamp, **given: Any
) -> None:
    """Record what a school or nursery may be told; it replaces what was agreed before.

    With nothing recorded, a school is told of patch and glasses only.

    Example: rehab contact agree K-017 --school operation --agreed-by "Gulnara T"
    --who "M. Okoro"
    """
    if nothing == bool(given["topics"]):
        raise click.UsageError("Give one of --school and --nothing.")
    topics = tuple(topic for topic in SchoolTopic if topic in given["topics"])
    told = Sharing("", given["on"] or today, topics, given["agreed_by"])
    now = contact_desk.agree_to_share(desk(home), number, told, today=today, stamp=stamp)
    click.echo(f"Recorded {now.id}: {sharing_text(now)}.")


@contact.command()
@click.argument("number")
@click.option(
    "--how",
    "-w",
    "way",
    required=True,
    type=Beginning(tuple(Way), "way"),
    help=f"{', '.join(Way)}; the beginning is enough.",
)
@click.option(
    "--outcome",
    "-o",
    required=True,
    type=Beginning(tuple(TryOutcome), "outcome"),
    help=f"{', '.join(TryOutcome)}; the beginning is enough.",
)
@click.option("--on", type=Day(), help="When it was, else today.")
@click.option(
    "--next-try", "-n", type=DayOrDaysOn(), help="A day, or +2 for two days after this try."
)
@click.option("--note", default="")
@stamped
@today_option
@click.pass_obj
def log(
    home: Path | None, /, number: str, on: date | None, today: date, stamp: Stamp, **given: Any
) -> None:
    """Log a try to reach a family, and see what comes next.

    Example: rehab contact log K-017 --how phone --outcome "no answer" --next-try +1
    --who "M. Okoro"
    """
    tried_on = on or today
    made = ContactTry(
        "",
        tried_on,
        Way(given["way"]),
        TryOutcome(given["outcome"]),
        _after(tried_on, given["next_try"]),
        given["note"].strip(),
    )
    after = contact_desk.log_try(desk(home), number, made, today=today, stamp=stamp)
    click.echo(f"Recorded {after.key}: {made.way} {made.on}, {made.outcome}.")
    for line in next_lines(after, today):
        click.echo(line)


def _after(tried_on: date, next_try: date | int | None) -> date | None:
    return tried_on + timedelta(days=next_try) if isinstance(next_try, int) else next_try


def _given(given: Mapping[str, str | None]) -> dict[str, Any]:
    """What was given, without the blanks around it that a paste brings along."""
    said: dict[str, Any] = {
        name: "\n".join(line.strip() for line in value.strip().splitlines())
        for name, value in given.items()
        if value is not None
    }
    consents = {name: Consent(said[name]) for name in said if name.endswith("_consent")}
    return {**said, **consents}


def _indented(lines: Iterable[str]) -> None:
    for line in lines:
        click.echo(f"    {line}")


def _why(stamp: Stamp) -> str:
    return f"; {stamp.reason}" if stamp.reason else ""


def _reach_json(reach: contact_desk.Reach, history: bool) -> Json:
    case = reach.case
    shown: Json = {
        "child": case.child.number,
        "language": case.child.language,
        "phone": case.child.phone,
        "family": case.child.family,
        "contacts": [{**asdict(c), "version": reach.versions[c.id]} for c in case.contacts],
        "limits": _limits_json(case.limits),
        "sharing": sharing_json(case.sharing),
        "tries": [
            {
                **asdict(t),
                "on": t.on.isoformat(),
                "next_try": t.next_try and t.next_try.isoformat(),
                "by": reach.tried_by[t.id],
            }
            for t in case.tries
        ],
    }
    if history:
        shown["history"] = [
            {"key": v.key, "version": v.version, "by": v.stamp.by, "at": v.stamp.at.isoformat(),
             "why": v.stamp.reason, "withdrawn": v.withdrawn, "what": told}
            for v, told in changes(reach.history)
        ]  # fmt: skip
    return shown


def _limits_json(limits: Limits) -> Json:
    minute = limits.not_before_minute
    return {
        "weekdays": [WEEKDAYS[day] for day in limits.weekdays],
        "not_before": None if minute is None else clock(minute),
        "farthest_km": limits.farthest_km,
        "distances_km": dict(limits.distances_km),
    }
