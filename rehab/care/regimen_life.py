"""The life of a regimen: its states, who may move it on, and what no one may prescribe."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

from rehab.care.case import Correction, Eye, LensStatus, Method
from rehab.errors import RecordError
from rehab.measures.fixation import Finding


class Role(StrEnum):
    """In what capacity somebody acts; `tool` is this program, which only proposes."""

    ORTHOPTIST = "orthoptist"
    DOCTOR = "doctor"
    NURSE = "nurse"
    COORDINATOR = "coordinator"
    FAMILY = "family"
    TOOL = "tool"


class State(StrEnum):
    PROPOSED = "proposed"
    ACCEPTED = "accepted"
    CHANGED = "changed"
    DECLINED = "declined"
    RUNNING = "running"
    TAPERING = "tapering"
    PAUSED = "paused"
    STOPPED = "stopped"
    WATCHED = "watched"
    ENDED = "ended"


# `changed` is what a person accepts instead of what was proposed, at first or while it runs.
# From stopped the only way on is the watch, and from the watch a new proposal that waits for a
# person: no path leads from stopped to hours without one.
MAY_BECOME: dict[State, tuple[State, ...]] = {
    State.PROPOSED: (State.ACCEPTED, State.CHANGED, State.DECLINED),
    State.ACCEPTED: (State.RUNNING, State.CHANGED, State.STOPPED),
    State.CHANGED: (State.RUNNING, State.TAPERING, State.CHANGED, State.STOPPED),
    State.DECLINED: (),
    State.RUNNING: (State.CHANGED, State.TAPERING, State.PAUSED, State.STOPPED),
    State.TAPERING: (State.CHANGED, State.TAPERING, State.PAUSED, State.STOPPED),
    State.PAUSED: (State.RUNNING, State.TAPERING, State.CHANGED, State.STOPPED),
    State.STOPPED: (State.WATCHED,),
    State.WATCHED: (State.PROPOSED, State.ENDED),
    State.ENDED: (),
}
MAY_ACCEPT = (Role.ORTHOPTIST, Role.DOCTOR)
# What a person decided may begin on its day, a stop must lead into the watch, and a watch may be
# closed or answered with a proposal, without anybody's word. Everything else is somebody's.
BY_TOOL = (
    (State.ACCEPTED, State.RUNNING),
    (State.CHANGED, State.RUNNING),
    (State.CHANGED, State.TAPERING),
    (State.STOPPED, State.WATCHED),
    (State.WATCHED, State.PROPOSED),
    (State.WATCHED, State.ENDED),
)
# Less occlusion is the safe side: whoever looks after the child may stop it or let it rest.
BY_ANYONE = (State.PAUSED, State.STOPPED)
NEED_REASON = (State.CHANGED, State.DECLINED, State.PAUSED, State.STOPPED)
OVER = (State.DECLINED, State.ENDED)


@dataclass(frozen=True, slots=True)
class Person:
    name: str
    role: Role


@dataclass(frozen=True, slots=True)
class Turn:
    """One step in the life of a regimen; `review_on` is None only when nothing is left to see."""

    state: State
    on: date
    by: Person
    reason: str = ""
    review_on: date | None = None


@dataclass(frozen=True, slots=True)
class Life:
    """Every turn of one regimen, oldest first; never empty, nothing is taken back."""

    number: str
    turns: tuple[Turn, ...]

    @property
    def state(self) -> State:
        return self.turns[-1].state

    @property
    def review_on(self) -> date | None:
        return self.turns[-1].review_on


def proposed(number: str, on: date, reason: str) -> Life:
    """A regimen begins as a proposal of this program, to be looked at by a person that day."""
    return Life(number, (Turn(State.PROPOSED, on, Person("rehab", Role.TOOL), reason, on),))


def advance(life: Life, turn: Turn) -> Life:
    """The life with `turn` added; raises RecordError for a turn that may not be."""
    now = life.turns[-1]
    may = MAY_BECOME[now.state]
    if turn.state not in may:
        allowed = f"It may be {', '.join(may)}." if may else "Begin with a new proposal."
        raise RecordError(
            f"occlusion that is {now.state} cannot become {turn.state}.",
            where=life.number,
            do=allowed,
        )
    if turn.on < now.on:
        raise RecordError(
            f"occlusion cannot become {turn.state} on {turn.on}, before it became {now.state} "
            f"on {now.on}.",
            where=life.number,
            do="Check both dates.",
        )
    _check_person(life, turn)
    if turn.state in NEED_REASON and not turn.reason.strip():
        raise RecordError(
            f"occlusion becomes {turn.state} without a reason.",
            where=life.number,
            do="Give the reason in your own words.",
        )
    if turn.state in OVER:
        turn = replace(turn, review_on=None)
    elif turn.review_on is None or turn.review_on < turn.on:
        raise RecordError(
            f"occlusion becomes {turn.state} on {turn.on} without a date to look at the child.",
            where=life.number,
            do=f"Give a review date from {turn.on} on.",
        )
    return Life(life.number, (*life.turns, turn))


def _check_person(life: Life, turn: Turn) -> None:
    role, step = turn.by.role, (life.state, turn.state)
    if not turn.by.name.strip():
        raise RecordError("nobody is named.", where=life.number, do="Say who decided.")
    if role in MAY_ACCEPT or (role is Role.TOOL and step in BY_TOOL):
        return
    if turn.state in BY_ANYONE and role is not Role.TOOL:
        return
    raise RecordError(
        f"{turn.by.name} ({role}) cannot make occlusion {turn.state}.",
        where=life.number,
        do="Ask an orthoptist or a doctor to decide.",
    )


@dataclass(frozen=True, slots=True)
class Acceptance:
    """A regimen that somebody is about to accept, with the facts that may forbid it.

    `minutes_per_day` None means by the age table, or, for what is not worn by the hour, none.
    """

    number: str
    by: Person
    method: Method
    treated_eye: Eye
    occluded_eye: Eye
    better_eye_lens: LensStatus
    better_eye_correction: Correction
    prescriber: str
    minutes_per_day: int | None
    waking_minutes: int
    starts: date
    review_on: date | None
    skin_reaction: Finding = Finding.UNKNOWN


def check_acceptance(asked: Acceptance) -> None:
    """Raises RecordError with the first reason why `asked` may not be accepted."""
    for what, do in _refusals(asked):
        raise RecordError(what, where=asked.number, do=do)


def _refusals(asked: Acceptance) -> Iterator[tuple[str, str]]:
    if asked.by.role not in MAY_ACCEPT or not asked.by.name.strip():
        yield (
            f"{asked.by.name or 'somebody'} ({asked.by.role}) cannot accept occlusion.",
            "Ask an orthoptist or a doctor to decide.",
        )
    if asked.occluded_eye is asked.treated_eye:
        yield (
            f"the {asked.occluded_eye} eye is the one that needs the treatment: occluding it "
            "would harm it.",
            f"Occlude the {asked.treated_eye.fellow} eye.",
        )
    if asked.review_on is None or asked.review_on <= asked.starts:
        yield (
            f"occlusion from {asked.starts} has no review after its start.",
            f"Give a review date after {asked.starts}.",
        )
    if asked.minutes_per_day is not None:
        yield from _refused_hours(asked.minutes_per_day, asked.waking_minutes)
    yield from _refused_method(asked)


def _refused_hours(minutes: int, awake: int) -> Iterator[tuple[str, str]]:
    if minutes <= 0:
        yield f"{minutes} minutes a day is no occlusion.", "Give the minutes, or decline."
    if minutes > awake:
        yield (
            f"{minutes} minutes a day is more than the {awake} that the child is awake.",
            f"Give {awake} minutes or fewer, or the sleep that the family reports.",
        )


def _refused_method(asked: Acceptance) -> Iterator[tuple[str, str]]:
    eye = asked.occluded_eye
    if asked.method is Method.PATCH and asked.skin_reaction is Finding.YES:
        yield (
            "the skin reacts to the patch.",
            "Wait until it has healed, or choose a method that does not touch the skin.",
        )
    if asked.method in ON_GLASSES and asked.better_eye_correction is not Correction.GLASSES:
        yield (
            f"{asked.method} needs glasses in front of the {eye} eye, and it wears "
            f"{asked.better_eye_correction}.",
            "Record the glasses first, or choose another method.",
        )
    if asked.method is Method.ATROPINE:
        yield from _refused_atropine(asked)


ON_GLASSES = (Method.CLOTH_PATCH, Method.FILTER, Method.OPTICAL_BLUR)


def _refused_atropine(asked: Acceptance) -> Iterator[tuple[str, str]]:
    eye, lens = asked.occluded_eye, asked.better_eye_lens
    if lens in (LensStatus.APHAKIC, LensStatus.PSEUDOPHAKIC):
        yield (
            f"the {eye} eye is {lens} and cannot focus near: atropine would not lower its sight.",
            "Choose another method.",
        )
    if lens is LensStatus.UNKNOWN:
        yield (
            f"the lens status of the {eye} eye is unknown: atropine works on a phakic eye only.",
            "Record the lens status first.",
        )
    if not asked.prescriber.strip():
        yield "atropine has no prescriber.", "A prescriber decides on the drug and its dose."
    if asked.minutes_per_day is not None:
        yield (
            "atropine is not worn by the minute.",
            "Leave the minutes out; the prescriber writes the dose.",
        )
