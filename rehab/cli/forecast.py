"""Commands: the refraction to expect of an eye, with its band, and when to measure it next."""

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import click

from rehab import workflow
from rehab.care.case import Case, CheckKind, Correction, Eye
from rehab.care.checks import Check
from rehab.care.eye_forecast import Expectation, expectation
from rehab.care.facts import Moment, known_on
from rehab.care.forecast import USUAL_BAND, holds_on
from rehab.care.history import surgeries_of
from rehab.care.plan import Plan
from rehab.care.problems import Problem
from rehab.cli.options import EyeName, desk, file_name, json_option, today_option
from rehab.cli.output import Json, because_json, day, print_columns, print_json, rests_on
from rehab.errors import MeasureError, RehabError
from rehab.letters.charts import Expected, ForecastChart, Measured, forecast_chart
from rehab.measures.dates import add_months
from rehab.rules.protocol import Protocol
from rehab.whole_files import write_whole

AHEAD_MONTHS = (0, 3, 6, 12, 24)
CHART_STEP = timedelta(days=14)
METHOD = (
    "A straight line at the lens plane against log10(age + 0.6 years); the published rate and its "
    "spread are updated by each refraction of this eye (conjugate normal). The band holds 80 % of "
    "eyes that grow by this model; an eye may not."
)


@dataclass(frozen=True, slots=True)
class EyeAnswer:
    """What may be said of one eye: an expectation, or why there is none."""

    eye: Eye
    expected: Expectation | None
    why_not: str
    next_check: Check | None


@click.command()
@click.argument("number")
@click.option("--eye", type=EyeName(), help="One eye only.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Folder for charts.")
@today_option
@json_option
@click.pass_obj
def forecast(
    home: Path | None, number: str, eye: Eye | None, out: Path | None, today: date, as_json: bool
) -> None:
    """Show the refraction to expect of the child NUMBER, and why the next falls due when it does.

    Example: rehab plan forecast K-017 --out charts
    """
    opened = desk(home)
    case = opened.store.case(number)
    made = workflow.plan_of(opened, case, today=today)
    answers = [
        _answer(known_on(case, today), one, opened.protocol, made)
        for one in ((eye,) if eye else Eye)
        if surgeries_of(case, one) or eye
    ]
    if as_json:
        print_json([_json(answer, case, today) for answer in answers])
    for answer in answers if not as_json else ():
        _print(answer, case, today)
    if not answers:
        raise MeasureError(
            "no eye has been operated.", where=number, do="Record the surgery first."
        )
    for answer in answers if out is not None else ():
        if answer.expected is not None and out is not None:
            path = out / f"{file_name(number)}-{answer.eye}.svg"
            write_whole(path, _chart(answer, answer.expected, case, today).encode())
            click.echo(f"Wrote {path}.", err=as_json)


def _answer(case: Case, eye: Eye, protocol: Protocol, made: Plan) -> EyeAnswer:
    mine = [c for c in made.checks if c.kind is CheckKind.REFRACTION and c.eye is eye]
    first = mine[0] if mine else None
    operated = surgeries_of(case, eye)
    start = operated[-1].on if operated else made.today
    try:
        found = expectation(Moment(case, eye, made.today, start, protocol))
    except RehabError as error:
        return EyeAnswer(eye, None, f"{error.what} {error.do}", first)
    if isinstance(found, Problem):
        return EyeAnswer(eye, None, found.what, first)
    return EyeAnswer(eye, found, "", first)


def _expected(found: Expectation, days: list[date]) -> tuple[Expected, ...]:
    known = found.forecast
    return tuple(Expected(on, known.mean_dioptres(on), *known.band_dioptres(on)) for on in days)


def _ahead(case: Case, found: Expectation, today: date) -> tuple[Expected, ...]:
    born = case.child.date_of_birth
    days = (add_months(today, n) for n in AHEAD_MONTHS)
    return _expected(found, [on for on in days if holds_on(born, on)])


def _worn(found: Expectation) -> str:
    place = " at the cornea" if found.worn.correction is Correction.CONTACT_LENS else ""
    return (
        f"{found.worn.correction} of {found.worn.dioptres:+.2f} D{place}, "
        f"as the refraction of {found.last_on} asked for"
    )


def _json(answer: EyeAnswer, case: Case, today: date) -> Json:
    found, check = answer.expected, answer.next_check
    told: Json = {"eye": answer.eye, "why_not": answer.why_not}
    if found is not None:
        told |= {
            "measured": [
                {"on": seen.on.isoformat(), "dioptres": seen.spherical_equivalent_dioptres}
                for seen in found.observations
            ],
            "worn": {"correction": found.worn.correction, "dioptres": found.worn.dioptres},
            "tolerance_dioptres": found.tolerance.threshold_dioptres,
            "expected": [
                {
                    "on": e.on.isoformat(),
                    "dioptres": round(e.dioptres, 2),
                    "band": [round(e.low, 2), round(e.high, 2)],
                }
                for e in _ahead(case, found, today)
            ],
        }
    told["next_refraction"] = check and check.target.isoformat()
    told["because"] = because_json(check.because) if check else None
    return told


def _print(answer: EyeAnswer, case: Case, today: date) -> None:
    click.echo(f"{answer.eye.upper()} EYE")
    found, check = answer.expected, answer.next_check
    if found is None:
        click.echo(f"  No forecast: {answer.why_not}")
    else:
        click.echo(f"  Worn: {_worn(found)}.")
        rows = [
            (f"  {day(seen.on)}", f"{seen.spherical_equivalent_dioptres:+.2f} D", "measured")
            for seen in found.observations
        ]
        rows += [
            (f"  {day(e.on)}", f"{e.dioptres:+.2f} D", f"expected, {e.low:+.2f} to {e.high:+.2f} D")
            for e in _ahead(case, found, today)
        ]
        print_columns(rows)
        click.echo(f"  {METHOD}")
    if check is not None:
        late = f" It is {check.status}: come by {day(check.by)}." if check.target <= today else ""
        click.echo(
            f"  Next refraction: {day(check.target)}, no later than {day(check.latest)}.{late}"
        )
        click.echo(f"    {check.because.counted}")
        click.echo(f"    {rests_on(check.because)}")


def _chart(answer: EyeAnswer, found: Expectation, case: Case, today: date) -> str:
    born = case.child.date_of_birth
    first = found.observations[0].on
    end = add_months(today, AHEAD_MONTHS[-1])
    days = [first + CHART_STEP * n for n in range((end - first) // CHART_STEP + 1)]
    expected = _expected(found, [on for on in days if holds_on(born, on)])
    last = expected[-1]
    next_on = answer.next_check.target if answer.next_check else found.last_on
    title = f"{case.child.number}, {answer.eye} eye: refraction measured and expected"
    seen_so_far = ", ".join(
        f"{seen.spherical_equivalent_dioptres:+.2f} D on {seen.on}" for seen in found.observations
    )
    chance = f"with a chance of {USUAL_BAND:.0%} between {last.low:+.2f} and {last.high:+.2f} D"
    words = (
        f"Measured: {seen_so_far}. Worn: {_worn(found)}. "
        f"Expected on {last.on}: {last.dioptres:+.2f} D, {chance}. Next refraction: {next_on}."
    )
    measured = tuple(
        Measured(seen.on, seen.spherical_equivalent_dioptres, seen.noise_dioptres)
        for seen in found.observations
    )
    glasses = found.observations[-1].spherical_equivalent_dioptres
    return forecast_chart(
        ForecastChart(title, words, born, measured, expected, glasses, found.last_on, next_on)
    )
