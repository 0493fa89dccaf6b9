"""Commands: propose places for many visits at once, and book what a person accepts."""

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path

import click

from rehab.booking_accept import accept as accept_lines
from rehab.booking_files import proposal_csv, read_proposal
from rehab.booking_proposal import Left, MayMove, Period, Place, Proposed, Wishes, place, wishes
from rehab.care.booking import Proposal
from rehab.care.holidays_end import holidays_end
from rehab.cli.options import NEW_FILE, Day, desk, stamped, today_option
from rehab.cli.output import print_columns
from rehab.cli.progress import progress
from rehab.measures.clock import clock
from rehab.store.store import Stamp
from rehab.whole_files import write_whole


@click.group()
def booking() -> None:
    """Propose places for many visits at once, and book them."""


@booking.command("propose")
@click.option("--until", "last", type=Day(), required=True, help="Visits planned up to this day.")
@click.option("--from", "first", type=Day(), help="Sessions from this day on (else tomorrow).")
@click.option(
    "--move",
    "may_move",
    type=click.Choice([m.value for m in MayMove]),
    default=MayMove.NOTHING.value,
    help="Which booked visits may be put elsewhere (else nothing).",
)
@click.option(
    "--seconds",
    type=click.FloatRange(min=0.1, max=3600),
    default=60.0,
    help="How long to look for the best (else 60).",
)
@click.option("--out", "out", type=NEW_FILE, help="Write a file for a spreadsheet, to be accepted.")
@today_option
@click.pass_obj
def propose(
    home: Path | None,
    /,
    last: date,
    first: date | None,
    may_move: str,
    seconds: float,
    out: Path | None,
    today: date,
) -> None:
    """Propose a session for every visit that is planned and not booked, the most urgent first.

    Nothing is booked: look at the file, delete the lines that you do not want, then accept it.

    Example: rehab booking propose --until 2026-05-31 --out places.csv
    """
    period = Period(today, first or today + timedelta(days=1), last)
    if period.first <= today or period.first > period.last:
        raise click.UsageError("--from must be after today and not after --until.")
    opened = desk(home)
    if not opened.diary.patterns:
        click.echo("The diary holds no sessions yet. Add them with: rehab diary session add")
    found: list[Wishes] = []
    with progress(len(opened.store.numbers()), "Looking for visits") as bar:
        for batch in wishes(opened, period, MayMove(may_move)):
            found += batch
            bar.update(len(batch))
    proposed = place(opened, found, period, seconds=seconds)
    if out is not None:
        write_whole(out, proposal_csv(proposed))
    _print_places(proposed.places)
    _print_left(proposed.left)
    _print_apart(proposed)
    for end in holidays_end(opened.diary, today, last + timedelta(days=1)):
        click.echo(end.sentence)
    for name, search in proposed.searches:
        click.echo(_how_good(name, search))
    counted = f"{len(proposed.places)} places proposed, {len(proposed.left)} visits without one"
    click.echo(f"{counted}. Nothing is booked yet.")
    if out is not None:
        click.echo(f"Wrote {out}. When it is as you want it: rehab booking accept {out}")


@booking.command("accept")
@click.argument("file", type=NEW_FILE)
@click.option("--skip-failed", is_flag=True, help="Book the lines that can be booked.")
@stamped
@today_option
@click.pass_obj
def accept(home: Path | None, /, file: Path, skip_failed: bool, today: date, stamp: Stamp) -> None:
    """Book the places of a FILE that was proposed: all of them or, if one cannot be, none.

    Example: rehab booking accept places.csv --who "M. Okoro"
    """
    lines = read_proposal(file)
    done = accept_lines(desk(home), lines, today=today, stamp=stamp, skip_failed=skip_failed)
    for line, why in done.refused:
        click.echo(f"Not booked, line {line.line}: {why}", err=True)
    click.echo(f"Booked {len(done.booked)} of {len(lines)} visits.")
    if done.booked:
        click.echo("The families do not know yet: each stays on the recall list until it is told.")


def _print_places(places: Sequence[Place]) -> None:
    rows = [
        (
            f"{p.appointment.on:%a} {p.appointment.on}",
            clock(p.appointment.starts_minute or 0),
            p.session.id.rpartition("/")[0],
            p.child.number,
            p.child.name,
            f"{p.appointment.minutes} min",
            f"urgency {p.request.urgency}",
            _mark(p),
        )
        for p in places
    ]
    if rows:
        print_columns(rows)
        click.echo()


def _mark(placed: Place) -> str:
    late = f"LATE: its last good day was {placed.late}" if placed.late else ""
    moved = f"moves {placed.appointment.id}" if placed.moved else ""
    return ", ".join(mark for mark in (late, moved) if mark)


def _print_left(left: Sequence[Left]) -> None:
    if left:
        click.echo("Without a place:")
    for gone in left:
        window = f", {gone.window[0]} to {gone.window[1]}" if gone.window else ""
        click.echo(f"{gone.child.number}  {gone.child.name}, urgency {gone.urgency}{window}")
        click.echo(f"    {gone.why} {gone.do}")
    if left:
        click.echo()


def _print_apart(proposed: Proposed) -> None:
    apart = [group for _, search in proposed.searches for group in search.apart]
    for group in apart:
        numbers = ", ".join(request.child_number for request in group.requests)
        click.echo(f"Siblings on several days: {numbers}. {group.why}")
    if apart:
        click.echo()


def _how_good(name: str, search: Proposal) -> str:
    off = f"{search.days_off_target} days off the planned days in all"
    if search.proven:
        return f"Visits {name}: no better placing exists ({off})."
    worst = max(stage.gap for stage in search.stages)
    first = next(stage for stage in search.stages if not stage.proven)
    return (
        f"Visits {name}: the best found ({off}); a better one may exist. Not proven: {first.aim}, "
        f"{first.found} found, at best {first.bound} (gap at most {worst:.2%})."
    )
