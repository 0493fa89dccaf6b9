"""Commands: the sites and the sessions of the clinic's diary."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import click

from rehab import diary_desk
from rehab.care.case import CheckKind
from rehab.care.diary import ASLEEP, AT_CLINIC, SessionPattern, Site
from rehab.cli.diary_options import given_only, tell
from rehab.cli.options import (
    Command,
    Day,
    TimeOfDay,
    Weekday,
    desk,
    seen_option,
    stamped,
    stamped_with_reason,
    today_option,
)
from rehab.cli.output import print_columns
from rehab.diary_checks import check_known
from rehab.diary_text import booked_text
from rehab.measures.dates import add_months
from rehab.session_dates import first_day, weekday_rule
from rehab.store.store import Stamp


def _options(*options: Callable[[Command], Command]) -> Callable[[Command], Command]:
    def with_options(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return with_options


@click.group()
def site() -> None:
    """Add and change the places where children are seen."""


_site_details = _options(
    click.option("--address", help="As families need it."),
    click.option("--time-zone", help="Such as Europe/Paris (else the clinic's)."),
    click.option("--country", help="Whose public holidays are kept, such as IN."),
    click.option("--region", help="Its region, such as MH."),
)


@site.command("add")
@click.argument("code")
@click.option("--name", required=True)
@_site_details
@stamped
@today_option
@click.pass_obj
def add_site(
    home: Path | None, /, code: str, today: date, stamp: Stamp, **given: str | None
) -> None:
    """Add a place where children are seen, under a short CODE.

    Example: rehab diary site add north --name "North Clinic" --address "2 Pier Road" --country KE
    --who "M. Okoro"
    """
    opened = desk(home)
    details = {"time_zone": opened.settings.clinic.time_zone, **given_only(given)}
    made = _placed(Site(code, **details))
    tell(diary_desk.add(opened, made, today=today, stamp=stamp))


@site.command("change")
@click.argument("code")
@click.option("--name")
@_site_details
@seen_option
@stamped_with_reason
@today_option
@click.pass_obj
def change_site(
    home: Path | None,
    /,
    code: str,
    seen: int | None,
    today: date,
    stamp: Stamp,
    **given: str | None,
) -> None:
    """Change what is recorded of the site CODE; its history stays.

    Example: rehab diary site change north --address "4 Pier Road" --why "moved" --who "M. Okoro"
    """
    opened = desk(home)
    changes = {name: value for name, value in given.items() if value is not None}
    if changes.keys() & {"country", "region"}:
        sites = {one.code: one for one in opened.diary.sites}
        check_known("site", code, sites)
        placed = _placed(replace(sites[code], **changes))
        changes |= {"country": placed.country, "region": placed.region}
    tell(
        diary_desk.change(opened, f"@site/{code}", changes, today=today, stamp=stamp, seen=seen),
        "Changed",
    )


def _placed(given: Site) -> Site:
    """With its country and region by the codes of the lists of holidays."""
    if not given.country:
        return given
    # Imported here: every other command is quicker without it.
    from rehab.holiday_lists import place

    country, region = place(given.country, given.region)
    return replace(given, country=country, region=region)


@click.group()
def session() -> None:
    """Add and change sessions that come again."""


_hours = _options(
    click.option("--starts", "starts_minute", type=TimeOfDay(), help="Local time, such as 09:00."),
    click.option("--ends", "ends_minute", type=TimeOfDay()),
    click.option(
        "--capacity-minutes", type=int, help="In which children can be seen, by all staff."
    ),
)
_offer = _options(
    click.option(
        "--kind",
        "kinds",
        multiple=True,
        type=click.Choice([kind.value for kind in CheckKind]),
        help="Only these checks (else all that are done in a clinic).",
    ),
    click.option("--under-anaesthesia", is_flag=True, help="A list under anaesthesia."),
    click.option("--staff", help="Who sees the children."),
)
_days = _options(
    click.option(
        "--weekday",
        "weekdays",
        type=Weekday(),
        multiple=True,
        help="Each week; more than one if need be.",
    ),
    click.option("--rule", help="Instead: a rule of RFC 5545, such as FREQ=MONTHLY;BYDAY=1TU."),
    click.option("--first", type=Day(), help="No session before this day (else today)."),
    click.option("--last", type=Day(), help="No session after this day."),
)


@session.command("add")
@click.argument("code")
@click.option("--site", required=True, help="The code of the site.")
@_days
@_hours
@_offer
@stamped
@today_option
@click.pass_obj
def add_session(home: Path | None, /, code: str, today: date, stamp: Stamp, **given: Any) -> None:
    """Add sessions that come again, under a short CODE.

    The first session is on the first such day from --first on. Checks that need sleep are put on
    lists under anaesthesia.

    Example: rehab diary session add mondays --site north --weekday Monday --starts 09:00
    --ends 13:00 --capacity-minutes 240 --staff "A. Orthoptist" --who "M. Okoro"
    """
    rule = _rule(given)
    if not rule:
        raise click.UsageError(
            "Name the days with --weekday or --rule; for one day only: rehab diary extra"
        )
    first = given.pop("first") or today
    if "weekdays" in given and given.pop("weekdays"):
        first = first_day(rule, first)
    made = _pattern(code, first, {**given, "rule": rule})
    tell(diary_desk.add(desk(home), made, today=today, stamp=stamp))


@session.command("change")
@click.argument("code")
@click.option("--site", help="The code of the site.")
@_days
@click.option("--no-last", is_flag=True, help="The sessions go on.")
@_hours
@_offer
@seen_option
@stamped_with_reason
@today_option
@click.pass_obj
def change_session(
    home: Path | None,
    /,
    code: str,
    seen: int | None,
    today: date,
    stamp: Stamp,
    **given: Any,
) -> None:
    """Change the sessions CODE, those gone by too; its history stays.

    To keep what was, give the old sessions a --last day and add new ones.

    Example: rehab diary session change mondays --ends 12:30 --capacity-minutes 210
    --why "room needed" --who "M. Okoro"
    """
    opened = desk(home)
    patterns = {pattern.code: pattern for pattern in opened.diary.patterns}
    check_known("session", code, patterns)
    rule, weekdays, no_last = _rule(given), given.pop("weekdays"), given.pop("no_last")
    if no_last and given["last"]:
        raise click.UsageError("Give --last or --no-last.")
    changes = {**given_only(given), **({"rule": rule} if rule else {})}
    if no_last:
        changes["last"] = None
    if "staff" in changes:
        changes["who"] = changes.pop("staff")
    if weekdays:
        changes["first"] = first_day(rule, changes.get("first", patterns[code].first))
    if "kinds" in changes:
        changes["kinds"] = tuple(CheckKind(kind) for kind in changes["kinds"])
    elif changes.get("under_anaesthesia"):
        changes["kinds"] = ASLEEP
    key = f"@session/{code}"
    tell(diary_desk.change(opened, key, changes, today=today, stamp=stamp, seen=seen), "Changed")
    until = add_months(today, opened.settings.clinic.horizon_months)
    for line in diary_desk.overfull(opened, code, today, until):
        click.echo(
            f"Mind {line.session.on:%A} {line.session.on}: {line.minutes} minutes are booked, and "
            f"there are {line.session.capacity_minutes}. See: rehab diary show"
        )
    lost = diary_desk.not_offered(opened, code, today) if "kinds" in changes else ()
    if lost:
        click.echo("Booked there for what the sessions do not offer; please move them:")
        print_columns((f"  {a.number}", a.name, booked_text(a.appointment), a.why) for a in lost)


@click.command()
@click.argument("on", type=Day())
@click.option("--site", required=True, help="The code of the site.")
@click.option("--code", help="A name for it (else its site and day).")
@_hours
@_offer
@stamped
@today_option
@click.pass_obj
def extra(home: Path | None, /, on: date, today: date, stamp: Stamp, **given: Any) -> None:
    """Add one session on one day only.

    Example: rehab diary extra 2026-05-09 --site north --starts 09:00 --ends 12:00
    --capacity-minutes 180 --who "M. Okoro"
    """
    opened = desk(home)
    code = given.pop("code") or f"{given['site']}-{on}"
    tell(diary_desk.add(opened, _pattern(code, on, given), today=today, stamp=stamp))
    if not any(pattern.rule for pattern in opened.store.diary().patterns):
        click.echo(
            "Mind that the diary has no sessions that come again. From its first session to its "
            "last it alone decides on which days children are seen: rehab diary session add"
        )


def _rule(given: dict[str, Any]) -> str:
    """The rule of the days given, or ""."""
    rule = given.pop("rule") or ""
    if rule and given["weekdays"]:
        raise click.UsageError("Name the days with --weekday or with --rule, not both.")
    if given["weekdays"]:
        return weekday_rule(given["weekdays"])
    return rule.strip().upper().removeprefix("RRULE:")


def _pattern(code: str, first: date, given: dict[str, Any]) -> SessionPattern:
    missing = [
        option
        for option, name in (
            ("--starts", "starts_minute"),
            ("--ends", "ends_minute"),
            ("--capacity-minutes", "capacity_minutes"),
        )
        if given[name] is None
    ]
    if missing:
        raise click.UsageError(f"Give {', '.join(missing)}.")
    asleep = given["under_anaesthesia"]
    kinds = tuple(CheckKind(kind) for kind in given["kinds"]) or (ASLEEP if asleep else AT_CLINIC)
    given = {**given, "kinds": kinds, "who": given["staff"] or ""}
    del given["staff"]
    return SessionPattern(code=code, first=first, **given)
