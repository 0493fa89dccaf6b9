"""Commands: the public holidays of the clinic's diary, which the clinic may edit."""

from datetime import date
from pathlib import Path

import click

from rehab import diary_desk
from rehab.care.diary import Holiday, Site
from rehab.care.holidays_end import holidays_end
from rehab.cli.diary_options import Years, tell
from rehab.cli.options import (
    Day,
    desk,
    json_option,
    stamped,
    stamped_with_reason,
    today_option,
)
from rehab.cli.output import print_columns, print_json
from rehab.diary_checks import check_known
from rehab.diary_text import affected_lines, day_text, holiday_text
from rehab.errors import RecordError
from rehab.measures.dates import add_months
from rehab.store.store import Stamp
from rehab.store.versions import diary_key
from rehab.workflow import Desk


@click.group()
def holidays() -> None:
    """Copy, list, add and remove public holidays."""


country_option = click.option("--country", default="", help="By its two letters, such as IN.")
region_option = click.option("--region", default="", help="By its code or name, such as MH.")


@holidays.command()
@country_option
@region_option
@click.option("--site", default="", help="Instead: the country and region of this site.")
@click.option("--years", type=Years(), required=True, help="Such as 2026-2028.")
@click.option("--language", default="", help="Of the names, where the list knows it.")
@stamped
@today_option
@click.pass_obj
def copy(home: Path | None, /, years: range, today: date, stamp: Stamp, **given: str) -> None:
    """Copy the public holidays of a country or region into the diary, where they can be edited.

    What the clinic changed or removed stays as it is, however often the list is copied.

    Example: rehab diary holidays copy --country KE --years 2026-2028 --who "M. Okoro"
    """
    if bool(given["country"]) is bool(given["site"]) or (given["site"] and given["region"]):
        raise click.UsageError("Give --country, or --site alone.")
    opened = desk(home)
    country, region = given["country"], given["region"]
    if given["site"]:
        there = _site(opened, given["site"])
        country, region = there.country, there.region
    # Imported here: every other command is quicker without it.
    from rehab.holiday_lists import holiday_list

    listed = holiday_list(country, region, years=years, language=given["language"])
    done = diary_desk.copy_holidays(opened, listed.holidays, today=today, stamp=stamp)
    place = "-".join(filter(None, (listed.holidays[0].country, listed.holidays[0].region)))
    kept = f"; {done.kept} recorded before stay as the clinic has them" if done.kept else ""
    click.echo(f"Copied {len(done.added)} public holidays of {place}{kept}.")
    estimated = sum(holiday.estimated for holiday in done.added)
    if estimated:
        click.echo(
            f"{estimated} of them are estimates: look at them again when the days are announced "
            "(rehab diary holidays list)."
        )
    for year, names in listed.missing.items():
        click.echo(
            f"The list for {year} lacks what the three years before {years.start} had: "
            f"{', '.join(names)}. Add them when their days are known."
        )
    for holiday in done.elsewhere:
        click.echo(
            f"No longer in the list, an estimate that may be wrong: {holiday_text(holiday)}."
        )
    for line in affected_lines(done.affected):
        click.echo(line)
    _tell_ends(opened, today)


def _site(opened: Desk, code: str) -> Site:
    sites = {site.code: site for site in opened.diary.sites}
    check_known("site", code, sites)
    if not sites[code].country:
        raise RecordError(
            "this site names no country.",
            where=code,
            do=f"Give it one: rehab diary site change {code} --country KE --why known",
        )
    return sites[code]


@holidays.command("list")
@country_option
@region_option
@click.option("--years", type=Years(), help="Such as 2026-2028 (else this year and later).")
@today_option
@json_option
@click.pass_obj
def list_holidays(
    home: Path | None, country: str, region: str, years: range | None, today: date, as_json: bool
) -> None:
    """List the public holidays as the clinic keeps them, and where the lists end.

    Example: rehab diary holidays list --country KE --years 2026
    """
    opened = desk(home)
    wanted = [
        holiday
        for holiday in sorted(opened.diary.holidays, key=lambda h: (h.on, h.country, h.region))
        if country.upper() in ("", holiday.country)
        and region in ("", holiday.region)
        and (holiday.on.year in years if years else holiday.on.year >= today.year)
    ]
    if as_json:
        print_json(
            [
                {"on": h.on.isoformat(), "name": h.name, "country": h.country,
                 "region": h.region, "estimated": h.estimated}
                for h in wanted
            ]
        )  # fmt: skip
        return
    print_columns(
        (
            (
                day_text(h.on),
                "-".join(filter(None, (h.country, h.region))),
                h.name,
                "day estimated" if h.estimated else "",
            )
            for h in wanted
        ),
        ("DAY", "PLACE", "HOLIDAY", ""),
    )
    if not wanted:
        click.echo("No public holidays are recorded. Copy them with: rehab diary holidays copy")
    _tell_ends(opened, today)


@holidays.command("add")
@click.argument("on", type=Day())
@click.option("--name", required=True)
@click.option("--country", required=True, help="By its two letters, such as IN.")
@region_option
@stamped
@today_option
@click.pass_obj
def add_holiday(
    home: Path | None, /, on: date, name: str, today: date, stamp: Stamp, **given: str
) -> None:
    """Add a public holiday, or bring back one that was removed.

    Example: rehab diary holidays add 2026-06-05 --name "Founders' day" --country KE
    --who "M. Okoro"
    """
    # Imported here: every other command is quicker without it.
    from rehab.holiday_lists import place

    country, region = place(given["country"], given["region"])
    holiday = Holiday(country, region, on, name)
    tell(diary_desk.add_holiday(desk(home), holiday, today=today, stamp=stamp))


@holidays.command("remove")
@click.argument("on", type=Day())
@country_option
@region_option
@stamped_with_reason
@today_option
@click.pass_obj
def remove_holiday(
    home: Path | None, /, on: date, today: date, stamp: Stamp, country: str, region: str
) -> None:
    """Remove a public holiday, because the clinic works or because the day was wrong.

    It stays removed when the list is copied again.

    Example: rehab diary holidays remove 2026-06-05 --why "the clinic works" --who "M. Okoro"
    """
    opened = desk(home)
    found = [
        holiday
        for holiday in opened.diary.holidays
        if holiday.on == on
        and country.upper() in ("", holiday.country)
        and region in ("", holiday.region)
    ]
    if not found:
        raise RecordError(
            f"no public holiday is recorded on {on}.", do="See: rehab diary holidays list"
        )
    if len(found) > 1:
        raise RecordError(
            f"more than one is recorded on {on}: {'; '.join(map(holiday_text, found))}.",
            do="Say which, with --country and --region.",
        )
    tell(diary_desk.remove(opened, diary_key(found[0]), today=today, stamp=stamp), "Removed")


def _tell_ends(opened: Desk, today: date) -> None:
    """Says so, where a list of holidays ends before plans do."""
    by = add_months(today, opened.settings.clinic.horizon_months)
    for end in holidays_end(opened.store.diary(), today, by):
        click.echo(end.sentence)
