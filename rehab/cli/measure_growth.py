"""Command: where one refraction of an operated eye is expected to go."""

from datetime import date, timedelta
from pathlib import Path

import click

from rehab.care.case import LensStatus
from rehab.care.forecast import GrowthPrior, Observation, forecast
from rehab.cli.options import json_option, tables_in_force, today_option
from rehab.cli.output import because_json, print_json, rests_on
from rehab.errors import MeasureError
from rehab.measures.age_text import Age, parse_age
from rehab.measures.dates import add_months, completed_months
from rehab.measures.refraction import parse_refraction, spherical_equivalent_dioptres
from rehab.rules.table import Outcome

BIRTH = date(2000, 1, 1)
FORMULA = "lens-plane refraction falls by rate x [log10(age + 0.6 y) - log10(age at first + 0.6 y)]"


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("refraction")
@click.option("--age", required=True, help="Age at this refraction, such as 3m or 1y.")
@click.option("--to-age", required=True, help="Age to look to, such as 5y.")
@click.option(
    "--lens-status",
    type=click.Choice([LensStatus.APHAKIC.value, LensStatus.PSEUDOPHAKIC.value]),
    required=True,
)
@click.option("--surgery-age", required=True, help="Age at lens removal, such as 6w or 2m.")
@today_option
@json_option
@click.pass_obj
def growth(home: Path | None, /, today: date, as_json: bool, **said: str) -> None:
    """Tell where one REFRACTION of an operated eye is expected to go, with its band.

    Example: rehab measure growth +8.00 --age 3m --to-age 5y --lens-status pseudophakic
    --surgery-age 2m
    """
    tables = tables_in_force(home)
    seen_on, to_day, operated_on = (
        _day(parse_age(said[name])) for name in ("age", "to_age", "surgery_age")
    )
    if not operated_on < seen_on <= to_day:
        raise MeasureError(
            "the ages are not in order.",
            where="growth",
            do="Give the age at surgery, then at the refraction, then the age to look to.",
        )
    rate = tables.ask(
        "refraction_growth",
        today,
        {
            "lens_status": said["lens_status"],
            "age_at_surgery_days": (operated_on - BIRTH).days,
        },
    )
    if rate.outcome is not Outcome.THEN:
        raise MeasureError(rate.why, where="growth", do="A clinician decides.")
    noise = tables.ask(
        "refraction_noise", today, {"age_months": completed_months(BIRTH, seen_on)}
    ).number("deviation_hundredths")
    prior = GrowthPrior(
        rate.number("rate_tenths") / 10,
        rate.number("deviation_tenths") / 10,
        rate.because.citation,
    )
    dioptres = spherical_equivalent_dioptres(parse_refraction(said["refraction"]))
    known = forecast(BIRTH, [Observation(seen_on, dioptres, noise / 100)], prior)
    mean, (low, high) = known.mean_dioptres(to_day), known.band_dioptres(to_day)
    if as_json:
        print_json(
            {
                "expected_dioptres": round(mean, 2),
                "band_dioptres": [round(low, 2), round(high, 2)],
                "formula": FORMULA,
                "because": because_json(rate.because),
            }
        )
        return
    click.echo(f"At {said['to_age']}: {mean:+.2f} D expected, {low:+.2f} to {high:+.2f} D in 80 %.")
    click.echo(
        f"    {FORMULA}; rate {prior.rate_dioptres:g} (SD {prior.deviation_dioptres:g}) D; "
        "cornea 44.5 D, lens 4.5 mm behind it and glasses 12 mm before it, held fixed"
    )
    click.echo(f"    {rests_on(rate.because)}")


def _day(age: Age) -> date:
    """The day of this age in an invented life: on the month where whole months were said."""
    on = BIRTH + timedelta(days=age.days)
    month = add_months(BIRTH, age.months)
    return month if abs((on - month).days) <= 1 else on
