"""Commands: see what falls due, and why."""

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from pathlib import Path

import click

from rehab import workflow
from rehab.care.changes import ChangeKind, describe_changes
from rehab.care.holidays_end import holidays_end
from rehab.care.plan import Plan
from rehab.care.proposals import KeptProposal
from rehab.cli.forecast import forecast
from rehab.cli.options import Day, desk, json_option, today_option
from rehab.cli.output import because_json, day, plan_json, print_columns, print_json, words
from rehab.cli.progress import refreshed
from rehab.errors import RecordError
from rehab.measures.dates import add_months
from rehab.rules.protocol import Because

BOOKED = "no rule asks for it: a person booked this day"


@click.group()
def plan() -> None:
    """See what falls due, and why."""


plan.add_command(forecast)


@plan.command()
@click.argument("number")
@today_option
@json_option
@click.pass_obj
def show(home: Path | None, number: str, today: date, as_json: bool) -> None:
    """Show the plan of the child NUMBER: visits, checks, occlusion, and what a person must settle.

    Example: rehab plan show K-017 --today 2026-04-20
    """
    opened = desk(home)
    made = workflow.plan_of(opened, opened.store.case(number), today=today)
    if as_json:
        print_json(plan_json(made))
    else:
        _print_plan(made)


@plan.command()
@click.argument("number")
@click.argument("on", type=Day())
@today_option
@json_option
@click.pass_obj
def why(home: Path | None, number: str, on: date, today: date, as_json: bool) -> None:
    """Say why a DATE stands in the plan of the child NUMBER: the rows, their sources, the facts.

    Example: rehab plan why K-017 2026-05-04 --today 2026-04-20
    """
    opened = desk(home)
    made = workflow.plan_of(opened, opened.store.case(number), today=today)
    found = [*reasons(made, on), *_decisions(opened.store.proposals(number), on)]
    if not found:
        raise RecordError(
            f"nothing in the plan falls on {on}.",
            where=number,
            do=f"See its dates with: rehab plan show {number}",
        )
    if as_json:
        print_json([{"what": what, "because": because_json(because)} for what, because in found])
        return
    for what, because in found:
        click.echo(what)
        for line in explained(because) if because else (BOOKED,):
            click.echo(f"    {line}")


@plan.command()
@click.argument("number", required=False)
@click.option("--all", "everyone", is_flag=True, help="Every child of the clinic.")
@today_option
@click.pass_obj
def refresh(home: Path | None, number: str | None, everyone: bool, today: date) -> None:
    """Plan anew and say what changed in the family's calendar since the last time.

    Example: rehab plan refresh --all
    """
    if (number is None) is not everyone:
        raise click.UsageError("Name one child, or give --all.")
    opened = desk(home)
    if number is not None:
        _, before, after = workflow.refresh(opened, number, today=today)
        changes = [c for c in describe_changes(before, after) if c.kind is not ChangeKind.KEPT]
        _print_changes(number, tuple(change.sentence for change in changes))
        return
    planned = failed = 0
    for batch in refreshed(opened, today, follow=True):
        for one, sentences in batch.changes:
            _print_changes(one, sentences)
        for one, sentences in batch.failed:
            click.echo(f"{one}: {' '.join(sentences)}", err=True)
        planned, failed = planned + batch.planned, failed + len(batch.failed)
    click.echo(f"Plans out of date, and made anew: {planned}.")
    horizon = add_months(today, opened.settings.clinic.horizon_months)
    for end in holidays_end(opened.diary, today, horizon):
        click.echo(end.sentence)
    if failed:
        raise RecordError(f"{failed} of {planned} children have no plan.", do="See above.")


def _print_changes(number: str, sentences: tuple[str, ...]) -> None:
    count = f"{len(sentences)} change{'' if len(sentences) == 1 else 's'}"
    click.echo(f"{number}: {count if sentences else 'nothing changed'}")
    for sentence in sentences:
        click.echo(f"    {sentence}")


def explained(because: Because) -> Iterator[str]:
    """The lines that let a reader check an answer against its source."""
    yield f"decision  {because.decision}, edition {because.edition}, row {because.row}"
    if because.counted:
        yield f"counted   {because.counted}"
    facts = ", ".join(f"{words(name)} {value}" for name, value in because.facts)
    yield f"facts     {facts or 'none needed'}"
    seen = "" if because.seen or because.source == "assumption" else " (figure from memory)"
    yield f"source    {because.citation}{seen}"
    yield f"place     {because.at}"


def reasons(made: Plan, on: date) -> Iterator[tuple[str, Because | None]]:
    """Every check, visit and span that names the day `on`; no rule where only a booking does."""
    visiting = {c.key for v in made.visits if on in (v.on, v.earliest, v.latest) for c in v.checks}
    for check in made.checks:
        if check.key in visiting or on in (check.earliest, check.target, check.latest, check.by):
            yield (
                f"{words(check.kind)}, {check.eye} eye: {check.earliest} to {check.latest}, "
                f"best {check.target} ({check.status})",
                check.because,
            )
    for visit in made.visits:
        if visit.on == on and not visit.checks:
            yield "booked visit, on which no check falls due", None
    for span in made.occlusion:
        if span.start <= on < span.until or on == span.until:
            said = "accepted" if span.accepted else "proposed"
            yield (
                f"occlusion of the {span.eye} eye {said}: {span.hours_per_day:g} h a day "
                f"from {span.start} to before {span.until}",
                span.because,
            )
    for problem in made.problems:
        if problem.because is not None and str(on) in problem.do + problem.what:
            yield f"{problem.kind}: {problem.what}", problem.because


def _decisions(proposals: Iterable[KeptProposal], on: date) -> Iterator[tuple[str, Because | None]]:
    """The occlusion proposals that name the day `on`, each row that fired with its facts."""
    for proposal in proposals:
        if on in (proposal.on, proposal.starts, proposal.review_on):
            said = f"occlusion proposal {proposal.id}: {proposal.action}, {proposal.decision}"
            words_said = f" ({proposal.words})" if proposal.words else ""
            for because in proposal.because:
                yield said + words_said, because


def _print_plan(made: Plan) -> None:
    child = made.child
    click.echo(
        f"{child.number}  {child.name}  born {day(child.date_of_birth)}  plan of {day(made.today)}"
    )
    if made.flags:
        click.echo("\nFLAGS")
        print_columns((f"  {flag.urgency}", flag.sentence) for flag in made.flags)
    click.echo("\nVISITS (a suggestion until booked)")
    print_columns(
        (
            f"  {day(visit.on)}",
            "booked" if visit.booked else f"{day(visit.earliest)} to {day(visit.latest)}",
            ", ".join(dict.fromkeys(f"{words(c.kind)} {c.eye}" for c in visit.checks))
            or "no check due",
        )
        for visit in made.visits
    )
    overdue = [check for check in made.checks if check.status == "overdue"]
    if overdue:
        click.echo("\nOVERDUE")
        print_columns(
            (
                f"  {words(c.kind)}",
                f"{c.eye} eye",
                f"was due by {day(c.latest)}",
                f"bring in by {day(c.by)}",
            )
            for c in overdue
        )
    ahead = [span for span in made.occlusion if span.until > made.today]
    if ahead:
        click.echo("\nOCCLUSION")
        print_columns(
            (
                f"  {day(s.start)} to {day(s.until - timedelta(days=1))}",
                f"{s.eye} eye covered",
                f"{s.hours_per_day:g} h a day",
                "accepted" if s.accepted else "PROPOSED, not accepted",
            )
            for s in ahead
        )
    if made.problems:
        click.echo("\nFOR A PERSON TO SETTLE")
        for problem in made.problems:
            eye = f", {problem.eye} eye" if problem.eye else ""
            click.echo(f"  {words(problem.about)}{eye}: {problem.what} {problem.do}")
    click.echo("\nThe tool proposes; a clinician decides. Why a date: rehab plan why CHILD DATE")
