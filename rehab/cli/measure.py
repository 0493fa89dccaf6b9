"""Commands: a bench calculator; each answer with its formula and where it comes from."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import click

from rehab.care.case import Correction
from rehab.care.findings import read_word
from rehab.care.targets import write_range
from rehab.cli.measure_eye import axial_length, cornea, pressure, target
from rehab.cli.measure_growth import growth
from rehab.cli.options import aged, json_option, read_age, tables_in_force, today_option
from rehab.cli.output import Json, because_json, print_columns, print_json, rests_on
from rehab.errors import MeasureError
from rehab.measures.acuity import parse_acuity
from rehab.measures.acuity_table import acuity_cautions, acuity_source, in_other_notations
from rehab.measures.contact_lens import (
    LENS_PLACE_SOURCE,
    TYPICAL_SOURCE,
    Expected,
    Moved,
    contact_lens_for,
    expected_by_age,
    expected_by_axial_length,
    glasses_for,
    typical_power,
)
from rehab.measures.dates import Step
from rehab.measures.eye_size import parse_axial_length, write_axial_length
from rehab.measures.refraction import Refraction, parse_refraction, write_refraction
from rehab.rules.protocol import Answer
from rehab.rules.table import Outcome

UNKNOWN = "unknown"
# A power such as -10.00 is not taken for an option.
POWERS = {"ignore_unknown_options": True}
mm_option = click.option(
    "--mm", "vertex_mm", type=int, default=12, show_default=True, help="Vertex distance."
)


@click.group()
def measure() -> None:
    """Convert and judge one measurement, with its source."""


for command in (growth, target, pressure, cornea, axial_length):
    measure.add_command(command)


def _tell(as_json: bool, answer: Json, lines: Iterable[str]) -> None:
    if as_json:
        print_json(answer)
        return
    for line in lines:
        click.echo(line)


@measure.command(context_settings=POWERS)
@click.argument("text")
@click.option("--test", default=UNKNOWN, help='The acuity test, such as "crowded pictures".')
@click.option("--distance-cm", type=int, help="The distance, needed by cycles/cm.")
@json_option
def acuity(text: str, test: str, distance_cm: int | None, as_json: bool) -> None:
    """Write one acuity in the other notations.

    Example: rehab measure acuity "6/18" --test "crowded letters"
    """
    read = parse_acuity(text, test=test, distance_cm=distance_cm)
    written = in_other_notations(read)
    cautions, source = acuity_cautions(read), acuity_source(read)
    if as_json:
        print_json(
            {
                "written": read.written,
                "kind": read.kind,
                "test": read.test,
                "distance_cm": read.distance_cm,
                "notations": dict(written),
                "cautions": list(cautions),
                "source": source,
            }
        )
        return
    click.echo(f"{read.written} ({read.kind})")
    print_columns((f"  {name}", value) for name, value in written)
    for line in (*cautions, f"Source: {source}."):
        click.echo(line)


@measure.command(context_settings=POWERS)
@click.argument("refraction")
@mm_option
@click.option("--to-glasses", is_flag=True, help="From the cornea to glasses instead.")
@json_option
def vertex(refraction: str, vertex_mm: int, to_glasses: bool, as_json: bool) -> None:
    """Move a lens from glasses to the cornea, or back.

    Example: rehab measure vertex +12 --mm 12
    """
    before = parse_refraction(refraction)
    moved = (glasses_for if to_glasses else contact_lens_for)(before, vertex_mm)
    _tell(as_json, _moved_json(moved), _moved_text(before, moved, vertex_mm, to_glasses))


def _moved_json(moved: Moved) -> Json:
    return {
        "lens": write_refraction(moved.lens),
        "exact_dioptres": [round(power, 2) for power in moved.exact_dioptres],
        "notes": list(moved.notes),
        "formula": "F / (1 - d x F)",
        "source": LENS_PLACE_SOURCE,
    }


def _moved_text(
    before: Refraction, moved: Moved, vertex_mm: int, to_glasses: bool
) -> Iterable[str]:
    lens, other = write_refraction(before), write_refraction(moved.lens)
    powers = moved.exact_dioptres if before.cylinder_quarters else moved.exact_dioptres[:1]
    exact = " and ".join(f"{power:+.2f}" for power in powers)
    place = (f"glasses at {vertex_mm} mm", "a contact lens")
    yield f"{lens} as {place[to_glasses]} is {other} as {place[not to_glasses]}."
    yield f"Before rounding: {exact}. {' '.join(moved.notes)}"
    yield f"Source: {LENS_PLACE_SOURCE}."


@measure.command("contact-lens")
@click.option("--axial-length", help="In mm, such as 18.0.")
@click.option("--refraction", help="As in glasses, such as +16.00.")
@mm_option
@aged
@json_option
def contact_lens(
    axial_length: str | None,
    refraction: str | None,
    vertex_mm: int,
    age: str | None,
    age_months: int | None,
    as_json: bool,
) -> None:
    """Say which contact lens power to expect.

    Example: rehab measure contact-lens --axial-length 18.0
    """
    answer: Json = {}
    lines: list[str] = []
    if axial_length is not None:
        length = parse_axial_length(axial_length)
        found = expected_by_axial_length(length)
        answer["by_axial_length"] = _expected_json(found)
        lines += _expected_text(f"axial length {write_axial_length(length)}", found)
    if age is not None or age_months is not None:
        months = read_age(age, age_months).months
        usual = typical_power(months)
        worn = f"+{usual.lowest_dioptres} to +{usual.highest_dioptres} D"
        answer["typical"] = {"powers": worn, "source": TYPICAL_SOURCE}
        lines.append(f"Usually worn at {Step(months=months)}: {worn}. Source: {TYPICAL_SOURCE}.")
        try:
            found = expected_by_age(months)
        except MeasureError as error:
            answer["by_age"] = None
            lines.append(f"No power by age: {error.what}")
        else:
            answer["by_age"] = _expected_json(found)
            lines += _expected_text(f"age {Step(months=months)}", found)
    if refraction is not None:
        before = parse_refraction(refraction)
        moved = contact_lens_for(before, vertex_mm)
        answer["from_refraction"] = _moved_json(moved)
        lines += _moved_text(before, moved, vertex_mm, to_glasses=False)
    if not answer:
        raise MeasureError(
            "nothing is given to expect a power from.",
            where="contact lens",
            do="Give --axial-length 18.0, --age-months 9 or --refraction +16.00.",
        )
    _tell(as_json, answer, lines)


def _expected_json(expected: Expected) -> Json:
    return {
        "dioptres": round(expected.dioptres, 2),
        "formula": expected.formula,
        "source": expected.source,
        "cautions": list(expected.cautions),
    }


def _expected_text(by: str, expected: Expected) -> Iterable[str]:
    yield f"By {by}: {expected.dioptres:+.2f} D at the cornea ({expected.formula})."
    yield " ".join(expected.cautions)
    yield f"Source: {expected.source}."


@measure.command()
@click.option("--wears", required=True, help="What the eye wears: contact lens or glasses.")
@click.option("--refraction", help="The distance refraction to add to, such as +2.25/-2.25x175.")
@aged
@today_option
@json_option
@click.pass_obj
def near(home: Path | None, /, today: date, as_json: bool, **said: Any) -> None:
    """Say how much plus an eye gets for near.

    Example: rehab measure near --wears glasses --age 5y --refraction +2.25/-2.25x175
    """
    answer = tables_in_force(home).ask(
        "near_addition",
        today,
        {
            "correction": read_word(Correction, said["wears"], "the correction"),
            "age_months": read_age(said["age"], said["age_months"]).months,
        },
    )
    sentence = _near_sentence(answer, said)
    _tell(
        as_json,
        {
            "says": sentence,
            "outcome": answer.outcome,
            "then": dict(answer.then),
            "because": because_json(answer.because),
        },
        (sentence, rests_on(answer.because)),
    )


def _near_sentence(answer: Answer, said: Mapping[str, Any]) -> str:
    if answer.outcome is not Outcome.THEN:
        return answer.why
    least, most = answer.number("lowest_quarters"), answer.number("highest_quarters")
    sentence = f"{write_range(least, most)} D for near, {answer.word('form')}."
    if said["refraction"] is None:
        return sentence
    far = parse_refraction(said["refraction"])
    lenses = dict.fromkeys(
        write_refraction(replace(far, sphere_quarters=far.sphere_quarters + add))
        for add in (least, most)
    )
    return f"{sentence} Near part: {' to '.join(lenses)}."
