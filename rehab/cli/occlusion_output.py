"""How proposals, decisions and the course of occlusion look when printed."""

from collections.abc import Iterator
from datetime import date

import click

from rehab.care.case import Case, Dose, Regimen
from rehab.care.changes import Change
from rehab.care.proposals import KeptProposal
from rehab.care.regimen_life import State
from rehab.care.review import state_of
from rehab.cli.output import Json, because_json, day, print_json, rests_on
from rehab.store.store import Version
from rehab.workflow import Desk


def proposal_json(proposal: KeptProposal) -> Json:
    return {
        "id": proposal.id,
        "on": proposal.on.isoformat(),
        "regimen": proposal.regimen,
        "action": proposal.action,
        "occluded_eye": proposal.occluded_eye,
        "minutes_per_day": proposal.minutes_per_day,
        "days_per_week": proposal.days_per_week,
        "starts": proposal.starts.isoformat(),
        "review_on": proposal.review_on and proposal.review_on.isoformat(),
        "to_decide": proposal.to_decide,
        "cautions": list(proposal.cautions),
        "found": list(proposal.found),
        "because": [because_json(because) for because in proposal.because],
        "decision": proposal.decision,
        "words": proposal.words,
    }


def change_json(change: Change) -> Json:
    entry = change.entry
    return {
        "kind": change.kind,
        "uid": entry.uid,
        "sequence": entry.sequence,
        "what": entry.kind,
        "sentence": change.sentence,
    }


def hours_said(proposal: KeptProposal) -> str:
    minutes = proposal.minutes_per_day
    if minutes is None:
        return "hours as now" if proposal.regimen else "hours by age"
    return f"{minutes / 60:g} h a day" if minutes else "no hours"


def print_proposal(proposal: KeptProposal) -> None:
    look = f", next look on {day(proposal.review_on)}" if proposal.review_on else ""
    click.echo(
        f"{proposal.id}  {proposal.action}: {hours_said(proposal)} "
        f"({proposal.occluded_eye} eye){look}"
    )
    for line in proposal_lines(proposal):
        click.echo(f"    {line}")
    number = proposal.id.partition("/")[0]
    click.echo(
        f"The orthoptist decides: rehab occlusion accept {number}, or change, pause, stop, decline"
    )


def proposal_lines(proposal: KeptProposal) -> Iterator[str]:
    """What it rests on: findings, cautions, what is left to a person, and each row asked."""
    yield from (f"found     {found}" for found in proposal.found)
    yield from (f"caution   {caution}" for caution in proposal.cautions)
    if proposal.to_decide:
        yield f"decide    {proposal.to_decide}"
    for because in proposal.because:
        facts = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in because.facts)
        yield f"row       {because.decision}/{because.row} ({facts or 'no facts needed'})"
        yield f"          {rests_on(because)}"


def regimen_text(regimen: Regimen) -> str:
    hours = {
        Dose.BY_AGE: "hours by age",
        Dose.NOT_BY_THE_HOUR: "not by the hour",
        Dose.FIXED: f"{(regimen.minutes_per_day or 0) / 60:g} h a day",
    }[regimen.dose]
    parts = [
        f"{regimen.method}, {regimen.occluded_eye} eye",
        hours,
        f"{regimen.days_per_week} days a week",
        f"from {regimen.starts}",
        f"resting from {regimen.paused_from}" if regimen.paused_from else "",
        f"to before {regimen.ends}" if regimen.ends else "",
        "tapering" if regimen.tapering else "",
        f"next look {regimen.review_on}" if regimen.review_on else "",
        f"near: {regimen.near_activity}" if regimen.near_activity else "",
    ]
    return ", ".join(filter(None, parts))


def print_course(desk: Desk, case: Case, today: date, as_json: bool) -> None:
    """Every version of every regimen and proposal, with who decided, when and why."""
    number = case.child.number
    proposals = desk.store.proposals(number)
    lives = [v for v in desk.store.history(number) if isinstance(v.record, Regimen)]
    if as_json:
        print_json(
            {
                "child": number,
                "today": today.isoformat(),
                "version": len(lives),
                "regimens": [
                    _regimen_json(r, lives, _state(case, r, today)) for r in case.regimens
                ],
                "proposals": [proposal_json(proposal) for proposal in proposals],
            }
        )
        return
    if not case.regimens and not proposals:
        click.echo(f"No occlusion is recorded for {number}.")
    for regimen in case.regimens:
        click.echo(f"{regimen.id}  {_state(case, regimen, today)}")
        for version in _versions(regimen, lives):
            if isinstance(version.record, Regimen):
                click.echo(f"    {regimen_text(version.record)}")
                click.echo(f"        {version.stamp.by}: {_reason(version)}")
    for proposal in proposals:
        click.echo(f"{proposal.id}  of {proposal.on}: {proposal.action}, {proposal.decision}")
        if proposal.words:
            click.echo(f"    {proposal.words}")
        for line in proposal_lines(proposal):
            click.echo(f"    {line}")
    if lives:
        click.echo(f"Version {len(lives)} of this course (for --seen).")


def _state(case: Case, regimen: Regimen, today: date) -> State:
    """As of today; a regimen into whose place another came is changed, not stopped."""
    state = state_of(regimen, today)
    followed = any(other.starts == regimen.ends for other in case.regimens)
    return State.CHANGED if state is State.WATCHED and followed else state


def _versions(regimen: Regimen, lives: list[Version]) -> list[Version]:
    return [version for version in lives if version.key == regimen.id]


def _reason(version: Version) -> str:
    record = version.record
    prescribed = record.reason if isinstance(record, Regimen) else ""
    return version.stamp.reason or prescribed or "no reason given"


def _regimen_json(regimen: Regimen, lives: list[Version], state: State) -> Json:
    return {
        "id": regimen.id,
        "state": state,
        "versions": [
            {
                "version": version.version,
                "terms": regimen_text(version.record),
                "by": version.stamp.by,
                "at": version.stamp.at.isoformat(),
                "reason": _reason(version),
                "proposed_by": list(version.record.proposed_by),
            }
            for version in _versions(regimen, lives)
            if isinstance(version.record, Regimen)
        ],
    }
