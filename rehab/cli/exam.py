"""Commands: record examinations."""

from collections.abc import Callable, Iterable, Mapping
from datetime import date
from pathlib import Path

import click

from rehab import corrections, workflow
from rehab.care.alarm import SAFETY
from rehab.care.case import (
    Cataract,
    Correction,
    Examination,
    Eye,
    EyeFindings,
    LensStatus,
    Symptoms,
    VisualAxis,
)
from rehab.care.findings import TYPED, read_check, read_findings
from rehab.care.flags import Urgency
from rehab.cli.options import Day, HoursPerDay, PerEye, corrects_option, desk, stamped, today_option
from rehab.errors import MeasureError
from rehab.measures.fixation import Finding, Nystagmus
from rehab.store.store import Stamp
from rehab.workflow import Desk

Said = tuple[tuple[Eye, str], ...]
Given = Mapping[str, Said | str | bool | int | None]


def per_eye(name: str, text: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    return click.option(f"--{name}", type=PerEye(), multiple=True, metavar="EYE=VALUE", help=text)


def yes_or_no(name: str, text: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    said = click.Choice([finding.value for finding in Finding])
    return click.option(f"--{name}", type=said, default="unknown", help=text)


def one_of(words: Iterable[str]) -> str:
    return ", ".join(word for word in words if word != "unknown") + "."


@click.group()
def exam() -> None:
    """Record examinations."""


@exam.command()
@click.argument("number")
@click.option("--on", type=Day(), required=True, help="Day of the examination.")
@per_eye("acuity", 'Such as right=6/18, "left=0.30 logMAR", "right=fixes and follows".')
@click.option("--test", default="unknown", help='The acuity test, such as "crowded pictures".')
@per_eye("fixation", 'Such as "right=central, steady, not maintained".')
@per_eye("pressure", 'In mmHg, such as right=14 or "right=14 rebound tonometer".')
@per_eye("refraction", 'Such as "right=+18.00" or "left=+4.00/-1.00x90".')
@per_eye("corneal-diameter", "Horizontal, in mm, such as right=9.8.")
@per_eye("axial-length", "In mm, such as right=18.25.")
@per_eye("visual-axis", one_of(VisualAxis))
@per_eye("cataract", "Of an eye not operated: " + one_of(Cataract))
@per_eye("lens-status", "As found: " + one_of(LensStatus))
@per_eye("wears", "The correction worn: " + one_of(Correction))
@per_eye("done", "A check done without a value above, such as right=dilated_fundus.")
@click.option("--nystagmus", type=click.Choice([n.value for n in Nystagmus]), default="unknown")
@yes_or_no("double-vision", "Does the child see double?")
@yes_or_no("new-squint", "Has an eye begun to turn?")
@yes_or_no("skin-reaction", "Is the skin under the patch sore?")
@click.option(
    "--sleep-hours",
    "sleep_minutes",
    type=HoursPerDay(most=24),
    help="Sleep in 24 hours, naps too, as the family says.",
)
@click.option("--under-anaesthesia", is_flag=True)
@click.option("--note", default="")
@corrects_option
@stamped
@today_option
@click.pass_obj
def add(
    home: Path | None,
    /,
    number: str,
    on: date,
    today: date,
    stamp: Stamp,
    **given: Said | str | bool | int | None,
) -> None:
    """Record what was found on one day in the child NUMBER.

    Example: rehab exam add K-017 --on 2026-04-06 --pressure right=14 --visual-axis right=clear
    --wears "right=contact lens" --cataract left=none --who "M. Okoro"
    """
    findings = tuple(_findings(number, eye, given) for eye in Eye)
    record = Examination(
        id="",
        on=on,
        findings=tuple(f for f in findings if f != EyeFindings(f.eye)),
        nystagmus=Nystagmus(str(given["nystagmus"])),
        under_anaesthesia=bool(given["under_anaesthesia"]),
        done=tuple((read_check(said), eye) for eye, said in _said(given, "done")),
        note=str(given["note"]),
        symptoms=Symptoms(
            Finding(str(given["double_vision"])),
            Finding(str(given["new_squint"])),
            Finding(str(given["skin_reaction"])),
        ),
        sleep_minutes=given["sleep_minutes"],  # type: ignore[arg-type]
    )
    opened, corrects = desk(home), given["corrects"]
    if corrects is None:
        key = workflow.add_examination(opened, number, record, today=today, stamp=stamp)
    else:
        key = corrections.correct(opened, str(corrects), record, today=today, stamp=stamp)
    notes = [n for f in findings if f.refraction for n in f.refraction.notes]
    click.echo(" ".join([f"Recorded {key}.", *notes, f"See the plan: rehab plan show {number}"]))
    _tell_flags(opened, number, today)


def _tell_flags(opened: Desk, number: str, today: date) -> None:
    """What cannot wait is told at once, and ends hours in the family's calendar at once."""
    made = workflow.plan_of(opened, opened.store.case(number), today=today)
    for flag in made.flags:
        if flag.urgency is not Urgency.NEXT_VISIT:
            click.echo(f"FLAG, {flag.urgency}: {flag.sentence}")
    if any(flag.because.decision == SAFETY for flag in made.flags):
        workflow.refresh(opened, number, today=today)


def _findings(number: str, eye: Eye, given: Given) -> EyeFindings:
    said = {name: [v for other, v in _said(given, name) if other is eye] for name in TYPED}
    try:
        return read_findings(eye, said, str(given["test"]))
    except MeasureError as error:
        where = ", ".join(filter(None, (number, f"{eye} eye", error.where)))
        raise MeasureError(error.what, where=where, do=error.do) from None


def _said(given: Given, name: str) -> Said:
    value = given[name]
    return value if isinstance(value, tuple) else ()
