"""Commands: judge the pressure and size of an eye, and the target of an implant."""

from collections.abc import Iterable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import click

from rehab.care.flags import (
    NOT_OPERATED,
    large_cornea_sentence,
    pressure_sentence,
    small_cornea_sentence,
    small_eye_sentence,
)
from rehab.care.targets import Published, comment, published_targets, weaker_implants
from rehab.cli.options import aged, json_option, read_age, tables_in_force, today_option
from rehab.cli.output import Json, because_json, print_columns, print_json, rests_on
from rehab.errors import MeasureError
from rehab.measures.eye_norms import usual_axial_lengths
from rehab.measures.eye_size import (
    parse_axial_length,
    parse_corneal_diameter,
    write_axial_length,
    write_corneal_diameter,
)
from rehab.measures.pressure import parse_pressure
from rehab.measures.refraction import parse_target
from rehab.rules.domain import Value
from rehab.rules.protocol import Answer

UNKNOWN = "unknown"


@click.command()
@click.option("--target", "recorded", help="The recorded target to comment on, such as +6.00.")
@aged
@today_option
@json_option
@click.pass_obj
def target(home: Path | None, /, today: date, as_json: bool, **said: Any) -> None:
    """Say which refraction implants aim at, by age.

    Example: rehab measure target --age 7y --target +1.00
    """
    at = read_age(said["age"], said["age_months"])
    tables = tables_in_force(home)
    told = published_targets(tables, today, age_days=at.days, age_months=at.months)
    weaker = weaker_implants(tables, today, age_months=at.months)
    recorded = said["recorded"]
    commented = "" if recorded is None else comment(parse_target(recorded), told)
    if as_json:
        print_json(
            {
                "age_days": at.days,
                "age_months": at.months,
                "residual_refraction": [_published_json(one) for one in told],
                "weaker_than_for_plano": [_published_json(one) for one in weaker],
                "comment": commented,
            }
        )
        return
    click.echo("Refraction aimed at:")
    print_columns(_published_columns(told))
    click.echo("Or an implant weaker than for plano:")
    print_columns(_published_columns(weaker))
    for one in (*told, *weaker):
        if not one.silent:
            click.echo(f"{one.name}. {rests_on(one.because)}")
    if commented:
        click.echo(commented)
    click.echo("Published figures to compare with; the surgeon chooses, and this names no implant.")


def _published_columns(published: Iterable[Published]) -> Iterator[tuple[str, str]]:
    for one in published:
        yield f"  {one.name}", one.says


def _published_json(one: Published) -> Json:
    return {
        "name": one.name,
        "says": one.says,
        "answers": not one.silent,
        "because": because_json(one.because),
    }


@click.command()
@click.argument("text")
@click.option("--days-since-surgery", type=click.IntRange(0, 39999), help="Leave out if unknown.")
@click.option("--not-operated", is_flag=True, help="This eye was never operated.")
@today_option
@json_option
@click.pass_obj
def pressure(
    home: Path | None,
    text: str,
    days_since_surgery: int | None,
    not_operated: bool,
    today: date,
    as_json: bool,
) -> None:
    """Say whether a pressure needs a call, and how soon.

    Example: rehab measure pressure 24 --days-since-surgery 10
    """
    if not_operated and days_since_surgery is not None:
        raise MeasureError(
            "an eye that was not operated has no days since surgery.",
            where="pressure",
            do="Give --days-since-surgery or --not-operated, not both.",
        )
    read = parse_pressure(text)
    since: Value = UNKNOWN if days_since_surgery is None else days_since_surgery
    answer = tables_in_force(home).ask(
        "pressure_flag",
        today,
        {
            "pressure_mmhg": read.pressure_mmhg,
            "days_since_surgery": NOT_OPERATED if not_operated else since,
        },
    )
    _judged(as_json, f"{read.pressure_mmhg} mmHg.", ((answer, pressure_sentence(answer)),))


@click.command()
@click.argument("diameter")
@aged
@today_option
@json_option
@click.pass_obj
def cornea(
    home: Path | None,
    diameter: str,
    age: str | None,
    age_months: int | None,
    today: date,
    as_json: bool,
) -> None:
    """Say whether a cornea is small or large for its age.

    Example: rehab measure cornea 9.8 --age-months 2
    """
    tenths = parse_corneal_diameter(diameter)
    asked = {"age_months": read_age(age, age_months).months}
    tables = tables_in_force(home)
    small = tables.ask("microcornea", today, asked)
    large = tables.ask("large_cornea", today, asked)
    said = small_cornea_sentence(tenths, small) or "It is not small for this age."
    too_large = large_cornea_sentence(tenths, large) or "It is not large for this age."
    _judged(as_json, f"{write_corneal_diameter(tenths)}.", ((small, said), (large, too_large)))


@click.command("axial-length")
@click.argument("length")
@aged
@today_option
@json_option
@click.pass_obj
def axial_length(
    home: Path | None,
    length: str,
    age: str | None,
    age_months: int | None,
    today: date,
    as_json: bool,
) -> None:
    """Say whether an eye is small for its age.

    Example: rehab measure axial-length 17.4 --age-months 4
    """
    hundredths = parse_axial_length(length)
    at = read_age(age, age_months)
    answer = tables_in_force(home).ask("microphthalmos", today, {"age_months": at.months})
    said = small_eye_sentence(hundredths, answer) or "It is not small for this age."
    usual = tuple(
        (f"Mean of {one.whose} without cataract: {one.millimetres:.2f} mm.", one.source)
        for one in usual_axial_lengths(at.days)
    )
    _judged(as_json, f"{write_axial_length(hundredths)}.", ((answer, said),), usual)


def _judged(
    as_json: bool,
    read: str,
    judged: Iterable[tuple[Answer, str]],
    beside: Iterable[tuple[str, str]] = (),
) -> None:
    if as_json:
        print_json(
            {
                "read": read.rstrip("."),
                "answers": [
                    {
                        "says": said,
                        "outcome": answer.outcome,
                        "then": dict(answer.then),
                        "because": because_json(answer.because),
                    }
                    for answer, said in judged
                ],
                "beside": [{"says": said, "source": source} for said, source in beside],
            }
        )
        return
    for answer, said in judged:
        click.echo(f"{read} {said}")
        click.echo(rests_on(answer.because))
    for said, source in beside:
        click.echo(f"{said} Source: {source}.")
