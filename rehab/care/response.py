"""What a review of occlusion proposes: the safety rows first, then the response, then the dose.

A chain of small tables, each asked only where the one before leaves the question open. The tool
proposes; a person decides, and where a table is silent the proposal is that a person decides.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from enum import StrEnum

from rehab.care.case import Eye
from rehab.care.regimen_life import State
from rehab.care.review_facts import (
    WATCHING,
    ReviewFacts,
    check_facts,
    fellow_change,
    since_stop,
    stated,
    treated_change,
)
from rehab.care.wear import awake_minutes, judged_wear
from rehab.errors import TableError
from rehab.measures.dates import Step
from rehab.rules.domain import Value
from rehab.rules.protocol import Answer, Because, Protocol
from rehab.rules.table import Outcome


class Action(StrEnum):
    CONTINUE = "continue"
    SUPPORT_WEAR = "support wear"
    RAISE = "raise"
    TAPER = "taper"
    LOOK_AGAIN = "look again"
    CHANGE_METHOD = "change method"
    PAUSE = "pause"
    STOP = "stop"
    WATCH = "go on watching"
    END_WATCH = "end the watch"
    TREAT_AGAIN = "treat again"
    REFER = "a person decides"


NO_RAISE = ("note and repeat", "hold")


@dataclass(frozen=True, slots=True)
class Proposal:
    """`minutes_per_day` None means by the age table, as before; 0 means no occlusion.

    `review_on` is None only when the watch after stopping is over. `to_decide` is what a person
    is asked. `because` holds every row that was asked, in order, with the facts used.
    """

    action: Action
    occluded_eye: Eye
    minutes_per_day: int | None
    days_per_week: int
    review_on: date | None
    watch: bool
    to_decide: str
    because: tuple[Because, ...]
    cautions: tuple[str, ...]
    facts: ReviewFacts


@dataclass(slots=True)
class _Chain:
    """The tables asked so far, by the editions in force on the day of the review."""

    protocol: Protocol
    on: date
    said: Mapping[str, Value]
    because: list[Because] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    to_decide: list[str] = field(default_factory=list)

    def ask(self, decision: str, **more: Value) -> Answer | None:
        """The answer; None where a person decides, which is then noted."""
        try:
            answer = self.protocol.ask(decision, self.on, {**self.said, **more})
        except TableError as error:
            self.to_decide.append(str(error))
            return None
        self.because.append(answer.because)
        if answer.outcome is Outcome.REFER:
            self.to_decide.append(answer.why)
            return None
        return answer


@dataclass(frozen=True, slots=True)
class _Step:
    """What the chain came to: the action, the minutes, and the look it asks for, if it does."""

    action: Action
    minutes: int | None
    look_days: int | None = None


def propose(facts: ReviewFacts, protocol: Protocol, today: date) -> Proposal:
    """The proposal for this review; raises RecordError for a review that cannot be."""
    check_facts(facts, today)
    on = facts.review.on
    wear, asked = judged_wear(facts.worn, protocol, on)
    chain = _Chain(protocol, on, stated(facts, wear), list(asked))
    changes = [fellow_change(facts.looks).change]
    changes.append((since_stop if facts.state in WATCHING else treated_change)(facts).change)
    chain.cautions += [c for change in changes if change is not None for c in change.cautions]
    step = _within_the_day(_decide(facts, chain), facts, chain)
    looks = tuple(_looks(step, facts, chain))
    if step.action is Action.WATCH and not looks:
        step = replace(step, action=Action.END_WATCH)
    elif not looks:
        # Outside the ages of the review table nothing may run on unseen.
        step = replace(step, action=Action.REFER)
        looks = tuple(_looks(step, facts, chain))
    if step.action is Action.STOP:
        _tell_risk(facts, chain)
    return Proposal(
        action=step.action,
        occluded_eye=facts.regimen.occluded_eye,
        minutes_per_day=step.minutes,
        days_per_week=facts.regimen.days_per_week,
        review_on=max(min(looks), today) if looks else None,
        watch=step.action is Action.STOP or facts.state in WATCHING,
        to_decide=" ".join(dict.fromkeys(chain.to_decide)),
        because=tuple(chain.because),
        cautions=tuple(dict.fromkeys(chain.cautions)),
        facts=facts,
    )


def _decide(facts: ReviewFacts, chain: _Chain) -> _Step:
    running = facts.regimen.minutes_per_day
    safety = chain.ask("occlusion_safety")
    if facts.state in WATCHING:
        return _after_stopping(safety, chain)
    current = 0 if facts.state is State.PAUSED else running
    if safety is not None and safety.outcome is Outcome.THEN:
        word, look = safety.word("safety"), safety.number("look_days")
        if word == "stop":
            return _Step(Action.STOP, 0, look)
        if word == "pause":
            return _Step(Action.PAUSE, 0, look)
        if word == "change method":
            chain.ask("occlusion_next_dose", action=word)
            return _Step(Action.CHANGE_METHOD, 0, look)
    if facts.state is State.PAUSED:
        if safety is not None:
            chain.to_decide.append("Occlusion rests: the orthoptist decides whether it goes on.")
        return _Step(Action.REFER, 0)
    if safety is None:
        return _Step(Action.REFER, current)
    step = _respond(current, chain)
    if safety.outcome is not Outcome.THEN:
        return step
    if step.action is Action.RAISE and safety.word("safety") in NO_RAISE:
        chain.cautions.append("More hours wait until the better eye is known to be safe.")
        step = _Step(Action.LOOK_AGAIN, current)
    look = safety.number("look_days")
    return replace(step, look_days=min(look, step.look_days or look))


def _after_stopping(safety: Answer | None, chain: _Chain) -> _Step:
    """Nothing here gives hours: a recurrence is put to a person."""
    answer = chain.ask("occlusion_recurrence")
    alarm = safety is not None and safety.outcome is Outcome.THEN
    look = safety.number("look_days") if safety is not None and alarm else None
    if alarm and safety is not None and safety.word("safety") in ("stop", "pause"):
        chain.to_decide.append("The better eye or the alignment changed: look for the cause.")
        return _Step(Action.REFER, 0, look)
    if answer is None:
        return _Step(Action.REFER, 0, look)
    if answer.outcome is Outcome.NOTHING:
        return _Step(Action.WATCH, 0, look)
    if answer.word("action") == Action.TREAT_AGAIN:
        chain.to_decide.append("The sight gained is lost again: a person decides on treatment.")
    days = answer.number("look_days")
    return _Step(Action(answer.word("action")), 0, min(days, look or days))


def _respond(current: int | None, chain: _Chain) -> _Step:
    answer = chain.ask("occlusion_response")
    if answer is None:
        return _Step(Action.REFER, current)
    action = Action(answer.word("action"))
    if action is Action.TAPER:
        return _dose(action, current, chain)
    if chain.ask("occlusion_method") is None:
        return _Step(Action.REFER, current)
    if action in (Action.RAISE, Action.CHANGE_METHOD):
        return _dose(action, current, chain)
    return _Step(action, current)


def _dose(action: Action, current: int | None, chain: _Chain) -> _Step:
    answer = chain.ask("occlusion_next_dose", action=action)
    if answer is None:
        return _Step(action if action is Action.CHANGE_METHOD else Action.REFER, current)
    minutes, look = answer.number("minutes_per_day"), answer.number("look_days")
    return _Step(Action.STOP if minutes == 0 else action, minutes, look)


def _within_the_day(step: _Step, facts: ReviewFacts, chain: _Chain) -> _Step:
    """Hours that the child is not awake for are never proposed."""
    awake = awake_minutes(facts.child, chain.on, facts.sleep_hours_reported)
    asked = facts.minutes_today if step.minutes is None else step.minutes
    if asked <= awake:
        return step
    chain.to_decide.append(
        f"{asked} minutes a day are more than the {awake} that the child is awake: "
        "the orthoptist sets the hours."
    )
    return _Step(Action.REFER, awake, step.look_days)


def _looks(step: _Step, facts: ReviewFacts, chain: _Chain) -> Iterator[date]:
    """The days on which a row asks to see the child next; the earliest counts."""
    if step.look_days is not None:
        yield chain.on + timedelta(days=step.look_days)
    if step.action in (Action.REFER, Action.LOOK_AGAIN, Action.CHANGE_METHOD):
        repeat = chain.ask("occlusion_repeat")
        if repeat is not None:
            yield chain.on + timedelta(days=repeat.number("within_days"))
    if step.action is Action.WATCH and facts.regimen.ends is not None:
        yield from _watch(facts.regimen.ends, chain)
    elif step.minutes != 0:
        minutes = facts.minutes_today if step.minutes is None else step.minutes
        look = chain.ask("occlusion_review", minutes_per_day=minutes)
        if look is not None and look.outcome is Outcome.THEN:
            yield _every(look).after(chain.on)


def _watch(stop: date, chain: _Chain) -> Iterator[date]:
    """The first look of the watch whose window this review has not opened already."""
    reached = stop
    while True:
        answer = chain.ask("watch_after_stopping", days_since_stop=(reached - stop).days)
        if answer is None or answer.outcome is not Outcome.THEN:
            return
        target = _every(answer).after(stop)
        width = chain.ask("window_width", interval_days=(target - reached).days)
        early = width.number("early_days") if width is not None else 0
        if chain.on < target - timedelta(days=early):
            yield target
            return
        reached = target


def _every(answer: Answer) -> Step:
    every = answer.number("every")
    return Step(months=every) if answer.word("unit") == "months" else Step(days=every)


def _tell_risk(facts: ReviewFacts, chain: _Chain) -> None:
    risk = chain.ask("occlusion_stop_risk", current_minutes=facts.minutes_today)
    if risk is not None and risk.outcome is Outcome.THEN:
        chain.cautions.append(
            f"Stopped at once from this dose, {risk.number('relapse_percent')} % of children "
            f"relapsed, tapered first {risk.number('relapse_percent_tapered')} %: watch closely."
        )
