"""Commands: record what was worn of occlusion, and what it amounts to."""

from datetime import date
from pathlib import Path

import click

from rehab import wear_desk
from rehab.care.wear import Doubtful, Expectation, WearDay, WearSummary
from rehab.cli.options import FILE, Day, desk, json_option, stamped, today_option
from rehab.cli.output import Json, because_json, print_json, rests_on
from rehab.store.store import Stamp
from rehab.wear_desk import Worn, Written
from rehab.wear_files import read_wear


@click.group()
def wear() -> None:
    """Record what was worn, and count it."""


@wear.command()
@click.argument("number")
@click.argument("on", type=Day())
@click.option("--minutes", type=click.IntRange(min=0), required=True, help="0 for not worn.")
@click.option("--written-on", type=Day(), help="The day on which the entry was made.")
@stamped
@today_option
@json_option
@click.pass_obj
def add(
    home: Path | None,
    /,
    number: str,
    on: date,
    today: date,
    as_json: bool,
    stamp: Stamp,
    **given: int | date | None,
) -> None:
    """Record the minutes that the child NUMBER wore on one day; said again, it is a correction.

    Example: rehab wear add K-017 2026-04-21 --minutes 90 --today 2026-04-22 --who "M. Okoro"
    """
    told = WearDay(on, given["minutes"], given["written_on"])  # type: ignore[arg-type]
    written = wear_desk.record_wear(desk(home), number, [told], today=today, stamp=stamp)
    _tell(written, 1, as_json)


@wear.command("import")
@click.argument("number")
@click.argument("file", type=FILE)
@stamped
@today_option
@json_option
@click.pass_obj
def import_file(
    home: Path | None, number: str, file: Path, today: date, as_json: bool, stamp: Stamp
) -> None:
    """Record the days of a FILE with the columns date, minutes and, if known, written_on.

    Nothing is written when any line cannot be read. The same file twice changes nothing.

    Example: rehab wear import K-017 wear.csv --today 2026-05-04 --who "M. Okoro"
    """
    opened = desk(home)
    days = read_wear(file, opened.store.case(number).child, today)
    written = wear_desk.record_wear(opened, number, days, today=today, stamp=stamp)
    _tell(written, len(days), as_json)


@wear.command()
@click.argument("number")
@today_option
@json_option
@click.pass_obj
def show(home: Path | None, number: str, today: date, as_json: bool) -> None:
    """Show what the child NUMBER wore of what was prescribed, with gaps and doubtful entries.

    Example: rehab wear show K-017 --today 2026-05-04
    """
    found = wear_desk.worn(desk(home), number, today=today)
    if as_json:
        print_json(_worn_json(found))
    else:
        _print_worn(found)


def _tell(written: Written, told: int, as_json: bool) -> None:
    new, corrected = len(written.new), len(written.corrected)
    if as_json:
        print_json(
            {
                "new": new,
                "corrected": corrected,
                "unchanged": told - new - corrected,
                "not_counted": [_doubt_json(doubtful) for doubtful in written.doubtful],
            }
        )
        return
    click.echo(f"{new} new, {corrected} corrected, {told - new - corrected} unchanged.")
    for line in written.doubtful:
        click.echo(f"    {_doubt_text(line)}")


def _doubt_text(doubtful: Doubtful) -> str:
    day = doubtful.day
    return f"{day.on}, {day.minutes} minutes: {doubtful.doubt}; kept, not counted"


def _doubt_json(doubtful: Doubtful) -> Json:
    day = doubtful.day
    return {"on": day.on.isoformat(), "minutes": day.minutes, "why": doubtful.doubt}


def _summary_json(worn: WearSummary) -> Json:
    return {
        "prescribed_hours": worn.prescribed_minutes / 60,
        "worn_hours": worn.hours_worn,
        "days_prescribed": worn.days_prescribed,
        "days_recorded": worn.days_recorded,
        "days_worn": worn.days_worn,
        "adherence_percent_at_least": worn.adherence_percent,
        "adherence_percent_at_most": worn.adherence_percent_recorded,
        "gaps": [gap.isoformat() for gap in worn.gaps],
        "not_counted": [_doubt_json(doubtful) for doubtful in worn.doubtful],
    }


def _worn_json(found: Worn) -> Json:
    expected = found.expected
    return {
        "whole": _summary_json(found.whole),
        "regimens": [
            {"id": r.id, **_summary_json(s), "band": band, "because": because_json(because)}
            for r, s, because, band in found.regimens
        ],
        "hours_per_line": found.hours_per_line,
        "expected": {
            "lines": expected.lines,
            "fewest": expected.fewest,
            "most": expected.most,
            "because": because_json(expected.because),
        }
        if isinstance(expected, Expectation)
        else expected and {"why_not": expected.why, "because": because_json(expected.because)},
    }


def _print_worn(found: Worn) -> None:
    for regimen, worn, _, band in found.regimens:
        click.echo(f"{regimen.id}  {_summary_text(worn)}: {band}")
    click.echo(f"In all  {_summary_text(found.whole)}")
    gaps = found.whole.gaps
    if gaps:
        click.echo(f"{len(gaps)} days without a usable entry, the last {gaps[-1]}")
    for doubtful in found.whole.doubtful:
        click.echo(f"    {_doubt_text(doubtful)}")
    if found.hours_per_line is not None:
        click.echo(f"{found.hours_per_line:.0f} h worn for each line gained under this regimen")
    expected = found.expected
    if isinstance(expected, Expectation):
        click.echo(
            f"Other children gained {expected.lines:.1f} lines ({expected.fewest:.1f} to "
            f"{expected.most:.1f}) with the hours worn: no promise. {rests_on(expected.because)}"
        )
    elif expected is not None:
        click.echo(f"{expected.why} {rests_on(expected.because)}")


def _summary_text(worn: WearSummary) -> str:
    least, most = worn.adherence_percent, worn.adherence_percent_recorded
    share = "adherence unknown" if least is None else f"adherence {least} to {most} %"
    return (
        f"{worn.hours_worn:g} h worn of {worn.prescribed_minutes / 60:g} h prescribed, worn on "
        f"{worn.days_worn} of {worn.days_recorded} days recorded, {share}"
    )
