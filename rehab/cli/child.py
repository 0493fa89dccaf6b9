"""Commands: register children and see what is recorded."""

from datetime import date
from pathlib import Path

import click

from rehab import contact_desk, workflow
from rehab.care.case import Child, Ending, EndingKind
from rehab.care.recall_reasons import arranged_at
from rehab.cli.import_children import import_children
from rehab.cli.options import (
    Day,
    desk,
    json_option,
    stamped,
    stamped_with_reason,
    today_option,
)
from rehab.cli.output import (
    child_json,
    day,
    findings_text,
    print_columns,
    print_json,
    surgery_text,
)
from rehab.contact_text import sharing_text
from rehab.store.store import Stamp


@click.group()
def child() -> None:
    """Register children and see what is recorded."""


child.add_command(import_children)


@child.command()
@click.argument("number")
@click.option("--name", required=True)
@click.option("--born", type=Day(), required=True, help="Date of birth.")
@click.option("--gestation-weeks", type=int, help="Completed weeks at birth, if known.")
@click.option(
    "--language", default="en", show_default=True, help="Home language, such as en or sw."
)
@click.option("--phone", default="", help="A number that reaches the family.")
@click.option(
    "--family", default="", help="One word for all children who live together and come together."
)
@stamped
@today_option
@click.pass_obj
def add(
    home: Path | None,
    /,
    number: str,
    today: date,
    stamp: Stamp,
    **given: str | int | date | None,
) -> None:
    """Register a child under the clinic's own record NUMBER.

    Example: rehab child add K-017 --name "Asel T" --born 2026-02-11 --who "M. Okoro"
    """
    record = Child(
        number=number,
        name=str(given["name"]),
        date_of_birth=given["born"],  # type: ignore[arg-type]
        gestation_weeks=given["gestation_weeks"],  # type: ignore[arg-type]
        language=str(given["language"]),
        phone=str(given["phone"]),
        family=str(given["family"]).strip(),
    )
    opened = desk(home)
    key = workflow.add_child(opened, record, today=today, stamp=stamp)
    click.echo(f"Recorded {key}.")
    _say_family(opened, record)


@child.command()
@click.argument("number")
@click.option("--name")
@click.option("--language", help="Home language, such as en or sw.")
@click.option("--phone", help="A number that reaches the family.")
@click.option("--family", help="One word for all children who live together and come together.")
@stamped_with_reason
@today_option
@click.pass_obj
def change(
    home: Path | None, /, number: str, today: date, stamp: Stamp, **given: str | None
) -> None:
    """Change a name, language, number or family; the history stays.

    Example: rehab child change K-017 --language sw --why "as the mother asked" --who "M. Okoro"
    """
    what = {name: value.strip() for name, value in given.items() if value is not None}
    if not what:
        raise click.UsageError("Give what changes, such as --phone.")
    opened = desk(home)
    now = contact_desk.change_child(opened, number, what, today=today, stamp=stamp)
    said = ", ".join(f"{name} {value or 'none'}" for name, value in what.items())
    click.echo(f"Changed {number}: {said}.")
    if "family" in what:
        _say_family(opened, now)


def _say_family(opened: workflow.Desk, child: Child) -> None:
    """A word typed in another way joins nobody, which shows here."""
    if child.family:
        same = [c.number for c in opened.store.children() if c.family == child.family]
        click.echo(f"Children of the family {child.family}: {', '.join(same)}.")


@child.command("list")
@json_option
@click.pass_obj
def list_children(home: Path | None, as_json: bool) -> None:
    """List the children.

    Example: rehab child list
    """
    children = desk(home).store.children()
    if as_json:
        print_json(
            [
                {"number": c.number, "name": c.name, "date_of_birth": c.date_of_birth.isoformat()}
                for c in children
            ]
        )
        return
    print_columns(
        ((c.number, c.name, c.date_of_birth, c.phone) for c in children),
        ("NUMBER", "NAME", "BORN", "PHONE"),
    )


@child.command()
@click.argument("number")
@json_option
@click.pass_obj
def show(home: Path | None, number: str, as_json: bool) -> None:
    """Show everything recorded about one child.

    Example: rehab child show K-017
    """
    case = desk(home).store.case(number)
    if as_json:
        print_json(child_json(case))
        return
    born = f"born {day(case.child.date_of_birth)}"
    weeks = f" at {case.child.gestation_weeks} weeks" if case.child.gestation_weeks else ""
    click.echo(f"{case.child.number}  {case.child.name}  {born}{weeks}")
    lines = [(s.on, s.id, surgery_text(s)) for s in case.surgeries]
    for e in case.examinations:
        kind = "examination under anaesthesia" if e.under_anaesthesia else "examination"
        lines += [(e.on, e.id, f"{kind}, {f.eye} eye: {findings_text(f)}") for f in e.findings]
        if e.nystagmus != "unknown":
            lines.append((e.on, e.id, f"nystagmus {e.nystagmus}"))
        lines += [(e.on, e.id, f"done: {k.replace('_', ' ')}, {eye} eye") for k, eye in e.done]
        if e.note:
            lines.append((e.on, e.id, e.note))
    for r in case.regimens:
        hours = "by age" if r.minutes_per_day is None else f"{r.minutes_per_day / 60:g} h a day"
        until = f" to before {r.ends}" if r.ends else ""
        lines.append(
            (
                r.starts,
                r.id,
                f"{r.method} on the {r.occluded_eye} eye, {hours}{until}, by {r.prescriber}",
            )
        )
    for p in case.prescriptions:
        written = " / ".join(p.text.split("\n"))
        lines.append((p.on, p.id, f"prescribed until {p.until} by {p.prescriber}: {written}"))
    lines += [(a.on, a.id, f"appointment{arranged_at(a)}: {a.outcome}") for a in case.appointments]
    print_columns(sorted(lines))
    if case.ending:
        to = f" to {case.ending.receiving_clinic}" if case.ending.receiving_clinic else ""
        click.echo(f"{case.ending.on}  {case.ending.kind}{to}. {case.ending.note}".rstrip())
    if case.sharing:
        click.echo(f"{case.sharing.id}: {sharing_text(case.sharing)}.")


@child.command()
@click.argument("number")
@click.argument("kind", type=click.Choice([k.value for k in EndingKind]))
@click.option("--on", type=Day(), required=True)
@click.option("--receiving-clinic", default="", help="Who goes on, after a transfer.")
@click.option("--note", default="", help="What was agreed.")
@stamped
@today_option
@click.pass_obj
def end(
    home: Path | None, /, number: str, kind: str, today: date, stamp: Stamp, **given: str | date
) -> None:
    """Record why this clinic no longer plans for a child; a transfer names the new clinic.

    Example: rehab child end K-017 "moved away" --on 2026-09-01 --who "M. Okoro"
    """
    ending = Ending(EndingKind(kind), **given)  # type: ignore[arg-type]
    key, cancelled = workflow.end_care(desk(home), number, ending, today=today, stamp=stamp)
    click.echo(f"Recorded {key}.")
    if cancelled:
        tell = "" if ending.kind is EndingKind.DIED else " Make sure that the family knows."
        click.echo(f"Appointments cancelled: {', '.join(map(str, cancelled))}.{tell}")
