"""Commands: propose, accept, change, decline, pause and stop occlusion; only a person decides."""

from collections.abc import Callable, Iterable, Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import click

from rehab import occlusion_desk
from rehab.care.case import Method, Regimen
from rehab.care.changes import EntryKind
from rehab.cli.occlusion_output import (
    change_json,
    print_course,
    print_proposal,
    proposal_json,
)
from rehab.cli.options import (
    NEW_FILE,
    Day,
    EyeName,
    HoursPerDay,
    desk,
    json_option,
    stamped,
    stamped_with_reason,
    today_option,
)
from rehab.cli.output import print_json
from rehab.letters.occlusion_chart import occlusion_chart
from rehab.occlusion_terms import Asked, Decided
from rehab.store.store import Stamp, Version
from rehab.whole_files import write_whole
from rehab.workflow import Desk, plan_of

Command = Callable[..., None]
# A family can act on what is near; what is suggested for later still moves with each visit.
SOON = timedelta(weeks=13)
# Within a working day somebody may have looked at a course before another changed it.
LATELY = timedelta(hours=12)


_seen = click.option(
    "--seen",
    type=click.IntRange(min=0),
    help="The version of the course you looked at; refused when someone changed it since.",
)


def _days(command: Command) -> Command:
    starts = click.option("--starts", "on", type=Day(), help="First day (else the day proposed).")
    review = click.option(
        "--review", "review_on", type=Day(), help="Day of the next look (else by the tables)."
    )
    near = click.option(
        "--near", "near_activity", default="", help="What to do close by while it is worn."
    )
    return starts(review(near(command)))


@click.group()
def occlusion() -> None:
    """Propose, decide and follow occlusion."""


@occlusion.command()
@click.argument("number")
@stamped
@today_option
@json_option
@click.pass_obj
def propose(home: Path | None, number: str, today: date, as_json: bool, stamp: Stamp) -> None:
    """Say what the last look of the child NUMBER asks for, with every row and finding behind it.

    Example: rehab occlusion propose K-017 --today 2026-04-20 --who "S. Lindqvist"
    """
    made = occlusion_desk.propose_occlusion(desk(home), number, Asked(today, stamp))
    if as_json:
        print_json(proposal_json(made))
    else:
        print_proposal(made)


@occlusion.command()
@click.argument("number")
@click.option(
    "--hours",
    "minutes_per_day",
    type=HoursPerDay(),
    help="At the start: fixed hours a day instead of the hours by age.",
)
@_days
@stamped
@_seen
@today_option
@json_option
@click.pass_obj
def accept(
    home: Path | None, /, number: str, today: date, as_json: bool, stamp: Stamp, **given: Any
) -> None:
    """Accept what is proposed for the child NUMBER, as the orthoptist or doctor in charge.

    Example: rehab occlusion accept K-017 --who "S. Lindqvist"
    """
    asked = Asked(today, stamp, **given)
    _decide(home, number, asked, occlusion_desk.accept_occlusion, as_json)


@occlusion.command()
@click.argument("number")
@click.option("--hours", "minutes_per_day", type=HoursPerDay(), help="Hours a day.")
@click.option("--by-age", is_flag=True, help="The hours by age instead of fixed hours.")
@click.option("--days-per-week", type=click.IntRange(1, 7))
@click.option("--method", type=click.Choice([m.value for m in Method]))
@click.option("--eye", type=EyeName(), help="The eye to be occluded, where it is not known.")
@click.option("--prescriber", default="", help="The doctor who prescribes drops.")
@click.option("--taper", is_flag=True, help="These hours are a step down towards the end.")
@_days
@stamped_with_reason
@_seen
@today_option
@json_option
@click.pass_obj
def change(
    home: Path | None,
    /,
    number: str,
    method: str | None,
    today: date,
    as_json: bool,
    stamp: Stamp,
    **given: Any,
) -> None:
    """Set your own terms for the child NUMBER, whatever was proposed.

    Example: rehab occlusion change K-017 --hours 1.5 --days-per-week 6 --who "S. Lindqvist"
    --why "sleeps long at noon"
    """
    asked = Asked(today, stamp, method=Method(method) if method else None, **given)
    _decide(home, number, asked, occlusion_desk.change_occlusion, as_json)


@occlusion.command()
@click.argument("number")
@stamped_with_reason
@_seen
@today_option
@json_option
@click.pass_obj
def decline(
    home: Path | None, number: str, today: date, as_json: bool, seen: int | None, stamp: Stamp
) -> None:
    """Decline what is proposed for the child NUMBER; what runs goes on as it was.

    Example: rehab occlusion decline K-017 --who "S. Lindqvist" --why "wait for the new lens"
    """
    asked = Asked(today, stamp, seen=seen)
    _decide(home, number, asked, occlusion_desk.decline_occlusion, as_json)


@occlusion.command()
@click.argument("number")
@click.option("--from", "on", type=Day(), help="First day without hours (else today).")
@click.option("--review", "review_on", type=Day(), help="Day of the next look.")
@stamped_with_reason
@_seen
@today_option
@json_option
@click.pass_obj
def pause(
    home: Path | None, /, number: str, today: date, as_json: bool, stamp: Stamp, **given: Any
) -> None:
    """Let occlusion of the child NUMBER rest; a look falls due, and only a change resumes it.

    Example: rehab occlusion pause K-017 --from 2026-04-25 --who "S. Lindqvist" --why "sore skin"
    """
    asked = Asked(today, stamp, **given)
    _decide(home, number, asked, occlusion_desk.pause_occlusion, as_json)


@occlusion.command()
@click.argument("number")
@click.option("--on", type=Day(), required=True, help="The first day without occlusion.")
@click.option("--review", "review_on", type=Day(), help="Day of a look before the watch begins.")
@stamped_with_reason
@_seen
@today_option
@json_option
@click.pass_obj
def stop(
    home: Path | None, /, number: str, today: date, as_json: bool, stamp: Stamp, **given: Any
) -> None:
    """Stop occlusion of the child NUMBER; acuity is then watched for a year.

    Example: rehab occlusion stop K-017 --on 2027-03-01 --who "S. Lindqvist" --why "equal twice"
    """
    asked = Asked(today, stamp, **given)
    _decide(home, number, asked, occlusion_desk.stop_occlusion, as_json)


@occlusion.command()
@click.argument("number")
@click.option(
    "--chart",
    type=NEW_FILE,
    help="Also write acuity and hours as a drawing (SVG).",
)
@today_option
@json_option
@click.pass_obj
def show(home: Path | None, number: str, chart: Path | None, today: date, as_json: bool) -> None:
    """Show every regimen and proposal of the child NUMBER, each decision with its reason.

    Example: rehab occlusion show K-017 --chart K-017.svg
    """
    opened = desk(home)
    case = opened.store.case(number)
    if chart is not None:
        drawn = occlusion_chart(
            case, opened.store.wear(number), opened.protocol, plan_of(opened, case, today=today)
        )
        write_whole(chart, drawn.encode())
    print_course(opened, case, today, as_json)
    if chart is not None and not as_json:
        click.echo(f"Wrote {chart}.")


def _decide(
    home: Path | None,
    number: str,
    asked: Asked,
    decision: Callable[[Desk, str, Asked], Decided],
    as_json: bool,
) -> None:
    opened = desk(home)
    before = opened.store.history(number)
    _tell(number, asked.today, decision(opened, number, asked), as_json)
    if asked.seen is None and not as_json:
        for sentence in _lately_by_others(number, before, asked.stamp):
            click.echo(sentence)


def _lately_by_others(number: str, before: Iterable[Version], stamp: Stamp) -> Iterator[str]:
    """Who decided last on this course, so lately that this person may not have seen it."""
    course = [version.stamp for version in before if isinstance(version.record, Regimen)]
    if not course or course[-1].by == stamp.by or stamp.at - course[-1].at >= LATELY:
        return
    last = course[-1]
    why = f" ({last.reason})" if last.reason else ""
    yield f"Mind: {last.by} changed this course at {last.at:%H:%M} UTC{why}."
    yield f"Both are kept: rehab record history {number}"


def _tell(number: str, today: date, made: Decided, as_json: bool) -> None:
    """What was recorded, and what the family must be told again."""
    if as_json:
        print_json(
            {"id": made.key, "said": made.said, "changes": [change_json(c) for c in made.changes]}
        )
        return
    click.echo(f"Recorded {made.key}: {made.said}.")
    until = today + SOON
    soon = [c for c in made.changes if c.entry.kind is not EntryKind.VISIT or c.entry.on < until]
    if soon:
        click.echo("The family must be told again:")
    for found in soon:
        click.echo(f"    {found.sentence}")
    if later := len(made.changes) - len(soon):
        click.echo(f"    {later} suggested visits from {until} on change too.")
    click.echo(f"See the days: rehab plan show {number}")
