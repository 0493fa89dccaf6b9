"""Commands: the clinic's diary, what is in it, its closures, and what was recorded when."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from pathlib import Path

import click

from rehab import diary_desk
from rehab.care.diary import Closure, Diary
from rehab.care.holidays_end import holidays_end
from rehab.cli.diary_holidays import holidays
from rehab.cli.diary_options import last_day_option, tell
from rehab.cli.diary_sessions import extra, session, site
from rehab.cli.options import Day, desk, json_option, stamped_with_reason, today_option
from rehab.cli.output import Json, print_columns, print_json
from rehab.diary_desk import SessionLine
from rehab.diary_text import (
    HEADS,
    closure_text,
    end_of_sessions,
    pattern_text,
    record_text,
    session_rows,
    site_text,
)
from rehab.errors import RecordError
from rehab.measures.clock import clock
from rehab.measures.dates import add_months
from rehab.session_dates import moment
from rehab.store.store import Stamp, Version
from rehab.store.versions import DiaryRecord
from rehab.workflow import Desk

ONE_DAY = timedelta(days=1)
DAYS_SHOWN = timedelta(days=13)
MOST_DAYS_SHOWN = 800
FEW = 10
BEGIN = (
    "The diary is empty: plans use the open weekdays of the clinic file. Begin with a site (rehab "
    "diary site add), then its sessions (rehab diary session add)."
)


@click.group()
def diary() -> None:
    """Keep the clinic's sessions, closures and holidays."""


for command in (site, session, extra, holidays):
    diary.add_command(command)


@diary.command()
@click.option("--from", "first", type=Day(), help="The first day (else today).")
@last_day_option
@click.option("--site", default="", help="Only at this site, by its code.")
@today_option
@json_option
@click.pass_obj
def show(
    home: Path | None,
    first: date | None,
    last_day: date | None,
    site: str,
    today: date,
    as_json: bool,
) -> None:
    """Show the sessions of some days, with the room that is left.

    Two weeks from today, unless days are given. Sessions that are not held are shown with why.

    Example: rehab diary show --from 2026-05-04 --until 2026-05-15
    """
    first = first or today
    last = last_day or first + DAYS_SHOWN
    if not 0 <= (last - first).days < MOST_DAYS_SHOWN:
        raise RecordError(
            f"from {first} to {last} are not 1 to {MOST_DAYS_SHOWN} days.", do="Check both days."
        )
    opened = desk(home)
    lines = diary_desk.lines(opened, first, last + ONE_DAY, site)
    if as_json:
        print_json([_line_json(line) for line in lines])
        return
    rows = list(session_rows(lines))
    print_columns(rows, HEADS)
    if not lines:
        click.echo(f"The diary has no session from {first} to {last}.")
    for note in _notes(opened, lines, first, last, today):
        click.echo(note)


def _notes(
    opened: Desk, lines: Sequence[SessionLine], first: date, last: date, today: date
) -> Iterable[str]:
    """What the table cannot show: bookings outside it, and where the diary ends."""
    loose = [
        f"{number} ({a.on})"
        for number, a in opened.store.expected(max(first, today))
        if a.on <= last and not a.session
    ]
    if loose:
        more = f" and {len(loose) - FEW} more" if len(loose) > FEW else ""
        yield f"Booked in no session: {', '.join(loose[:FEW])}{more}."
    if any(line.why_shut and line.children for line in lines):
        yield "Children are booked in sessions that are not held: they are on the recall list."
    if opened.store.diary() == Diary():
        yield BEGIN
    by = add_months(today, opened.settings.clinic.horizon_months)
    if ends := end_of_sessions(opened.diary, by):
        yield ends
    for end in holidays_end(opened.diary, today, by):
        yield end.sentence


def _line_json(line: SessionLine) -> Json:
    session = line.session
    return {
        "session": session.id,
        "site": session.site,
        "on": session.on.isoformat(),
        "starts": clock(session.starts_minute),
        "ends": clock(session.ends_minute),
        "starts_at": moment(session.on, session.starts_minute, session.time_zone).isoformat(),
        "ends_at": moment(session.on, session.ends_minute, session.time_zone).isoformat(),
        "kinds": list(session.kinds),
        "under_anaesthesia": session.under_anaesthesia,
        "staff": session.who,
        "children": line.children,
        "capacity_minutes": session.capacity_minutes,
        "minutes_used": line.minutes,
        "minutes_left": session.capacity_minutes - line.minutes,
        "why_shut": line.why_shut,
    }


@diary.command("list")
@today_option
@click.pass_obj
def list_recorded(home: Path | None, today: date) -> None:
    """List the sites, sessions and closures that are recorded.

    Example: rehab diary list
    """
    recorded = desk(home).store.diary()
    if recorded == Diary():
        click.echo(BEGIN)
        return
    print_columns((f"site/{one.code}", site_text(one)) for one in recorded.sites)
    print_columns((f"session/{one.code}", pattern_text(one)) for one in recorded.patterns)
    print_columns(
        (f"closure/{one.code}", closure_text(one)) for one in recorded.closures if one.until > today
    )


@diary.command()
@click.option("--from", "first", type=Day(), required=True, help="The first day.")
@last_day_option
@click.option("--site", default="", help="Only this site, by its code.")
@click.option("--session", "pattern", default="", help="Only these sessions, by their code.")
@stamped_with_reason
@today_option
@click.pass_obj
def close(
    home: Path | None,
    /,
    first: date,
    last_day: date | None,
    today: date,
    stamp: Stamp,
    **only: str,
) -> None:
    """Close the clinic, a site or some sessions, for one day or several.

    The first and the last day are both closed. The children booked then are listed, and come on
    the recall list.

    Example: rehab diary close --from 2026-05-06 --until 2026-05-07 --why "staff training"
    --who "M. Okoro"
    """
    opened = desk(home)
    closure = Closure("", first, (last_day or first) + ONE_DAY, stamp.reason, **only)
    changed = diary_desk.close(opened, closure, today=today, stamp=stamp)
    tell(changed)
    if not changed.affected:
        click.echo("Nobody is booked then.")


@diary.command("open-again")
@click.argument("code")
@stamped_with_reason
@today_option
@click.pass_obj
def open_again(home: Path | None, code: str, today: date, stamp: Stamp) -> None:
    """Take back a closure, by its CODE: its first day.

    Example: rehab diary open-again 2026-05-06 --why "training put off" --who "M. Okoro"
    """
    key = f"@closure/{code.removeprefix('@').removeprefix('closure/')}"
    tell(diary_desk.remove(desk(home), key, today=today, stamp=stamp), "Taken back:")


@diary.command()
@click.argument("key")
@stamped_with_reason
@today_option
@click.pass_obj
def remove(home: Path | None, key: str, today: date, stamp: Stamp) -> None:
    """Remove a record that was entered in error; its history stays.

    The KEY is such as session/mondays. To end sessions, give them a last day instead:
    rehab diary session change CODE --last DAY

    Example: rehab diary remove session/north-2026-05-09 --why "not held" --who "M. Okoro"
    """
    tell(diary_desk.remove(desk(home), _key(key), today=today, stamp=stamp), "Removed")


@diary.command()
@click.argument("key")
@json_option
@click.pass_obj
def history(home: Path | None, key: str, as_json: bool) -> None:
    """Show every version of a record: who wrote it, when and why.

    The KEY is such as session/mondays, site/north or closure/2026-05-06.

    Example: rehab diary history session/mondays
    """
    versions = desk(home).store.history_in_diary(_key(key))
    if as_json:
        print_json(
            [
                {"key": v.key, "version": v.version, "by": v.stamp.by,
                 "at": v.stamp.at.isoformat(), "why": v.stamp.reason, "withdrawn": v.withdrawn,
                 "what": _what(v)}
                for v in versions
            ]
        )  # fmt: skip
        return
    print_columns(
        (
            (v.version, v.stamp.by, f"{v.stamp.at:%Y-%m-%d %H:%M}",
             _what(v), v.stamp.reason)
            for v in versions
        ),
        ("VERSION", "BY", "AT (UTC)", "WHAT", "WHY"),
    )  # fmt: skip


def _what(version: Version) -> str:
    record = version.record
    if version.withdrawn or not isinstance(record, DiaryRecord):
        return "withdrawn"
    return record_text(record)


def _key(given: str) -> str:
    key = f"@{given.removeprefix('@')}"
    if key.partition("/")[0] not in ("@site", "@session", "@closure", "@holiday"):
        raise RecordError(
            f"{given!r} is no record of the diary.",
            do="Give such as site/north, session/mondays, closure/2026-05-06 or "
            "holiday/KE/2026-06-01.",
        )
    return key
