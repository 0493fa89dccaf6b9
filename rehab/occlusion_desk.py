"""The orthoptist's desk: propose, accept, change, decline, pause and stop occlusion.

Each is one transaction in which the family's calendar follows. Only a person gives hours.
"""

from dataclasses import replace
from datetime import timedelta

from rehab.care.case import Regimen
from rehab.care.facts import weaker_eye
from rehab.care.proposals import START, Decision, KeptProposal
from rehab.care.regimen_life import State
from rehab.care.response import Action
from rehab.care.review import begun, needs_own_terms, same_content
from rehab.errors import RecordError
from rehab.occlusion_terms import (
    Asked,
    Decided,
    Work,
    begin,
    pause,
    person,
    stop,
    terms,
    turn,
)
from rehab.workflow import Desk

PROPOSE = "Make one with: rehab occlusion propose"


def propose_occlusion(desk: Desk, number: str, asked: Asked) -> KeptProposal:
    """What the records ask for, kept for a person to decide; the same again is not kept twice."""
    with desk.store.transaction() as tx:
        work = Work(desk, tx, number, asked)
        made, waiting = work.proposal_now(), work.proposal()
        if waiting is not None and same_content(waiting, made):
            return waiting
        if waiting is not None:
            superseded = replace(waiting, decision=Decision.SUPERSEDED)
            work.correct(waiting.id, superseded, "newer findings gave another proposal")
        return replace(made, id=tx.add(number, made, asked.stamp))


def accept_occlusion(desk: Desk, number: str, asked: Asked) -> Decided:
    """A person accepts what waits, or the first hours by age, which need not have been kept."""
    with desk.store.transaction() as tx:
        work = Work(desk, tx, number, asked)
        person(work, "accept occlusion", State.ACCEPTED)
        waiting = work.proposal()
        if waiting is None and work.case.regimens:
            raise RecordError(
                "no proposal of occlusion waits for a decision.",
                where=number,
                do=f"{PROPOSE} {number}",
            )
        made = work.proposal_now()
        if waiting is not None and not same_content(waiting, made):
            raise RecordError(
                f"{waiting.id} no longer follows from what is recorded.",
                where=number,
                do=f"Look at what is proposed now: rehab occlusion propose {number}",
            )
        proposal = waiting or made
        if needs_own_terms(proposal):
            raise RecordError(
                f"{proposal.id} leaves the decision to you: {proposal.to_decide}",
                where=number,
                do="Set the terms with change, or use pause, stop or decline.",
            )
        key, said = _carry_out(work, proposal)
        work.settle(waiting, Decision.ACCEPTED)
        return work.decided(key, said)


def _carry_out(work: Work, proposal: KeptProposal) -> tuple[str, str]:
    asked, reason = work.asked, f"as proposed: {proposal.action}"
    if proposal.action == START:
        start = asked.on or proposal.starts
        minutes = asked.minutes_per_day
        return begin(work, terms(work, proposal.occluded_eye, start), minutes, proposal)
    running = begun(work.case, asked.today)
    if running is None or running.id != proposal.regimen:
        raise RecordError(
            f"{proposal.id} was made for {proposal.regimen}.",
            where=work.number,
            do="Propose again.",
        )
    review_on = asked.review_on or proposal.review_on
    match Action(proposal.action):
        case Action.RAISE | Action.TAPER:
            _only_as_proposed(work, proposal)
            own = terms(work, proposal.occluded_eye, work.on)
            taper = proposal.action == Action.TAPER
            own = replace(own, tapering=taper, review_on=review_on)
            return begin(work, own, proposal.minutes_per_day, proposal)
        case Action.STOP:
            return stop(work, running, review_on, proposal)
        case Action.PAUSE:
            return pause(work, running, review_on, proposal)
        case _:
            _only_as_proposed(work, proposal)
            kept = replace(
                running,
                review_on=review_on,
                decided_on=asked.today,
                proposed_by=proposal.rows,
            )
            work.correct(running.id, kept, reason)
            look = f"next look on {review_on}" if review_on else "the watch is over"
            return running.id, f"{proposal.action}, {look}"


def _only_as_proposed(work: Work, proposal: KeptProposal) -> None:
    if work.asked.minutes_per_day is not None:
        raise RecordError(
            f"{proposal.id} proposes other hours than these.",
            where=work.number,
            do=f'Set your own with: rehab occlusion change {work.number} --hours H --why "..."',
        )


def change_occlusion(desk: Desk, number: str, asked: Asked) -> Decided:
    """The orthoptist's own terms, whether or not a proposal waits."""
    with desk.store.transaction() as tx:
        work = Work(desk, tx, number, asked)
        who = person(work, "change occlusion", State.CHANGED)
        case, waiting = work.case, work.proposal()
        running = begun(case, work.on)
        if running is not None and running.ends is None:
            look = asked.review_on or work.on + timedelta(days=1)
            turn(work, running, State.CHANGED, look, who)
        treated = weaker_eye(case)
        eye = asked.eye or (running.occluded_eye if running else treated and treated.fellow)
        if eye is None:
            raise RecordError(
                "it is not known which eye is to be occluded.", where=number, do="Give --eye."
            )
        own = terms(work, eye, work.on)
        minutes = asked.minutes_per_day
        if minutes is None and not asked.by_age and running is not None:
            minutes = running.minutes_per_day
        key, said = begin(work, own, minutes, waiting)
        work.settle(waiting, Decision.CHANGED)
        return work.decided(key, said)


def decline_occlusion(desk: Desk, number: str, asked: Asked) -> Decided:
    """What was proposed is not done, for the orthoptist's reason; what runs goes on as it was."""
    with desk.store.transaction() as tx:
        work = Work(desk, tx, number, asked)
        person(work, "decline a proposal", State.DECLINED)
        waiting = work.proposal()
        if waiting is None:
            raise RecordError(
                "no proposal of occlusion waits for a decision.",
                where=number,
                do=f"{PROPOSE} {number}",
            )
        if not asked.stamp.reason.strip():
            raise RecordError(
                "a proposal is declined without a reason.",
                where=waiting.id,
                do="Give the reason in your own words.",
            )
        work.settle(waiting, Decision.DECLINED)
        return work.decided(waiting.id, f"declined: {waiting.action}")


def pause_occlusion(desk: Desk, number: str, asked: Asked) -> Decided:
    """No hours from the day on, and a look due; only a person's change gives hours again."""
    with desk.store.transaction() as tx:
        work = Work(desk, tx, number, asked)
        running = _running(work)
        days = desk.protocol.ask("occlusion_repeat", asked.today, {}).number("within_days")
        waiting = work.proposal()
        review_on = asked.review_on or work.on + timedelta(days=days)
        if waiting is not None and waiting.action == Action.PAUSE and waiting.review_on:
            review_on = asked.review_on or waiting.review_on
        key, said = pause(work, running, review_on, waiting)
        return _settled(work, waiting, Action.PAUSE, key, said)


def stop_occlusion(desk: Desk, number: str, asked: Asked) -> Decided:
    """The first day without occlusion; the year of watching begins with it."""
    with desk.store.transaction() as tx:
        work = Work(desk, tx, number, asked)
        running, waiting = _running(work), work.proposal()
        review_on = asked.review_on
        if review_on is None and waiting is not None and waiting.action == Action.STOP:
            review_on = waiting.review_on
        key, said = stop(work, running, review_on, waiting)
        return _settled(work, waiting, Action.STOP, key, said)


def _settled(
    work: Work, waiting: KeptProposal | None, action: Action, key: str, said: str
) -> Decided:
    same = waiting is not None and waiting.action == action
    work.settle(waiting, Decision.ACCEPTED if same else Decision.CHANGED)
    return work.decided(key, said)


def _running(work: Work) -> Regimen:
    running = [
        r
        for r in work.case.regimens
        if r.starts <= work.on and (r.ends is None or r.ends > work.on)
    ]
    if not running:
        raise RecordError(
            f"no occlusion is running on {work.on}.", where=work.number, do="Check the date."
        )
    return running[-1]
