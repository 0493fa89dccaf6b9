"""Laws of occlusion: over every row of every table, and over thousands of random courses."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise, product
from random import Random

import pytest

from rehab.care.case import Eye, Method, Regimen
from rehab.care.regimen_life import (
    MAY_BECOME,
    Life,
    Person,
    Role,
    State,
    Turn,
    advance,
)
from rehab.care.regimen_life import proposed as begun
from rehab.care.response import Action, Proposal, propose
from rehab.care.review_facts import Look, ReviewFacts
from rehab.care.wear import awake_minutes
from rehab.measures.fixation import Finding, Nystagmus
from rehab.measures.sleep import share_of_waking_minutes, waking_hours
from rehab.rules.domain import Value
from rehab.rules.table import Outcome
from tests.care.reviews import PROTOCOL, STARTS, child_of, letters, look, proposed, review, worn

LATERALITIES = ("unilateral", "bilateral", "none")


def start_minutes(laterality: str, age_months: int, hundredths: int | str) -> int | None:
    """The first dose, or None where a person decides."""
    answer = PROTOCOL.ask(
        "occlusion_dose",
        STARTS,
        {
            "laterality": laterality,
            "corrected_age_months": age_months,
            "weaker_eye_hundredths": hundredths,
        },
    )
    if answer.outcome is not Outcome.THEN:
        return None
    percent = answer.number("percent_of_waking")
    if percent:
        return share_of_waking_minutes(age_months, percent)
    return answer.number("minutes_per_day")


@pytest.mark.parametrize("laterality", LATERALITIES)
def test_more_severe_never_starts_with_fewer_hours(laterality: str) -> None:
    for age in range(216):
        doses = [start_minutes(laterality, age, n) for n in range(-30, 500)]
        given = [dose for dose in doses if dose is not None]
        assert given == sorted(given), age


@pytest.mark.parametrize("laterality", LATERALITIES)
def test_no_dose_of_a_table_is_longer_than_the_waking_day(laterality: str) -> None:
    acuities: tuple[int | str, ...] = (0, 30, 64, 65, 130, 131, "unknown")
    actions = ("raise", "taper")
    for age, acuity in product(range(145), acuities):
        awake = waking_hours(age) * 60
        first = start_minutes(laterality, age, acuity)
        assert first is None or first <= awake
        for action, minutes in product(actions, range(0, 721, 15)):
            asked: dict[str, Value] = {
                "action": action,
                "laterality": laterality,
                "age_months": age,
                "current_minutes": minutes,
            }
            answer = PROTOCOL.ask("occlusion_next_dose", STARTS, asked)
            if answer.outcome is Outcome.THEN:
                new = answer.number("minutes_per_day")
                assert new <= awake
                assert (new > minutes) == (action == "raise") or new == minutes == 0


# One course of looks for each word of the treated eye and of the fellow eye.
TREATED = {
    "plateau": (0.5, 0.4, 0.4),
    "improved": (0.6, 0.5, 0.2),
    "gain in noise": (0.6, 0.5, 0.4),
    "worse in noise": (0.5, 0.4, 0.5),
    "worse unconfirmed": (0.4, 0.4, 0.6),
    "worse confirmed": (0.3, 0.6, 0.6),
    "equal": (0.4, 0.1, 0.1),
    "not measured": (0.4, 0.4, None),
}
FELLOW = {
    "no worse": (0.0, 0.0, 0.0),
    "one line": (0.0, 0.0, 0.1),
    "two lines": (0.0, 0.0, 0.2),
    "two lines confirmed": (0.0, 0.2, 0.2),
    "slow loss": (0.0, 0.1, 0.2),
    "far weaker": (0.0, 0.0, 0.9),
    "not measured": (0.0, 0.0, None),
}
TOLD: tuple[dict[str, Finding], ...] = (
    {},
    {"new_squint": Finding.YES},
    {"skin_reaction": Finding.YES},
    {"double_vision": Finding.UNKNOWN},
)
ALARM = ("two lines", "two lines confirmed", "slow loss", "far weaker")


def every_review() -> Iterator[tuple[str, str, ReviewFacts]]:
    """Each pair of courses with each dose, age, laterality, wear, state and symptom."""
    for (treated, read), (fellow, saw) in product(TREATED.items(), FELLOW.items()):
        looks = tuple(look(*at) for at in zip((0, 6, 12), read, saw, strict=True))
        for minutes, age, side, percent, state, told in product(
            (None, 60, 240, 600),
            (10, 60, 160),
            LATERALITIES,
            (40, 90),
            (State.RUNNING, State.TAPERING, State.PAUSED, State.WATCHED),
            TOLD,
        ):
            facts = review(
                *looks, minutes=minutes, age_months=age, laterality=side, state=state,
                worn=worn(percent), **told,
            )  # fmt: skip
            if state is State.WATCHED:
                ended = replace(facts.regimen, ends=STARTS + timedelta(weeks=1))
                facts = replace(facts, regimen=ended)
            yield treated, fellow, facts


def dose(facts: ReviewFacts, answer: Proposal) -> int:
    return facts.minutes_today if answer.minutes_per_day is None else answer.minutes_per_day


def test_the_laws_of_a_proposal_hold_for_every_review() -> None:
    seen = set()
    for treated, fellow, facts in every_review():
        answer = proposed(facts)
        seen.add(answer.action)
        hold_laws(facts, answer, facts.review.on)
        if fellow in ALARM or facts.new_squint is Finding.YES:
            assert answer.action is not Action.RAISE
            assert dose(facts, answer) == 0, "an alarm leaves no hours"
        if treated == "gain in noise":
            assert answer.action not in (Action.RAISE, Action.TAPER, Action.CHANGE_METHOD) or (
                facts.state is State.TAPERING or facts.skin_reaction is Finding.YES
            )
        if facts.worn == worn(40):
            assert answer.action is not Action.RAISE
    assert seen == set(Action) - {Action.END_WATCH}


def hold_laws(facts: ReviewFacts, answer: Proposal, today: date) -> None:
    """What must hold of any proposal whatever was found."""
    new = dose(facts, answer)
    assert 0 <= new <= awake_minutes(facts.child, today, facts.sleep_hours_reported)
    assert answer.occluded_eye is facts.regimen.occluded_eye
    assert answer.because
    if answer.action is Action.RAISE:
        assert new > facts.minutes_today
    elif facts.state in (State.RUNNING, State.TAPERING):
        assert new <= facts.minutes_today
    if facts.state in (State.PAUSED, State.STOPPED, State.WATCHED):
        assert answer.minutes_per_day == 0, "only a person starts occlusion again"
    if answer.action in (Action.STOP, Action.PAUSE):
        assert answer.minutes_per_day == 0
    if answer.action is Action.STOP or facts.state in (State.STOPPED, State.WATCHED):
        assert answer.watch
    if answer.action is Action.END_WATCH:
        assert answer.review_on is None
    else:
        assert answer.review_on is not None
        assert answer.review_on >= today
    if answer.action in (Action.REFER, Action.TREAT_AGAIN, Action.CHANGE_METHOD):
        assert answer.to_decide


@dataclass(frozen=True)
class Course:
    """One child's occlusion as a clinic would keep it."""

    facts: ReviewFacts
    life: Life


ORTHOPTIST, TOOL = Person("S. Lindqvist", Role.ORTHOPTIST), Person("rehab", Role.TOOL)
OCCLUDED = (State.RUNNING, State.TAPERING)


def turn(course: Life, state: State, on: date, review_on: date | None, by: Person) -> Life:
    return advance(course, Turn(state, on, by, "as the orthoptist says", review_on))


def begin(chance: Random, number: int) -> Course:
    minutes = chance.choice((None, 60, 120, 240, 360, 600))
    regimen = Regimen(f"R-{number}", Eye.LEFT, Method.PATCH, minutes, 7, STARTS, "S. Lindqvist", "")
    age = chance.randrange(2, 190)
    facts = ReviewFacts(
        child=child_of(age),
        laterality=chance.choice(LATERALITIES),
        nystagmus=chance.choice(tuple(Nystagmus)),
        regimen=regimen,
        minutes_today=minutes or 300,
        state=State.RUNNING,
        looks=(Look(STARTS, letters(chance.randrange(2, 12) / 10), letters(0.0)),),
    )
    life = begun(regimen.id, STARTS, "proposed")
    review_on = STARTS + timedelta(weeks=4)
    life = turn(life, State.ACCEPTED, STARTS, review_on, ORTHOPTIST)
    return Course(facts, turn(life, State.RUNNING, STARTS, review_on, TOOL))


def visit(chance: Random, course: Course, on: date) -> Course:
    """The child is seen on `on`; what is found is left to chance."""
    last = course.facts.looks[-1]
    if chance.random() < 0.1:
        seen = Look(on, None, last.fellow)
    else:
        was = next(x.treated for x in reversed(course.facts.looks) if x.treated is not None)
        now = max(0.0, (was.logmar or 0.0) + chance.choice((-0.2, -0.1, 0.0, 0.0, 0.1, 0.2)))
        seen = Look(on, letters(now), letters(chance.choice((0.0, 0.0, 0.0, 0.1, 0.2))))
    findings = (Finding.NO, Finding.NO, Finding.NO, Finding.NO, Finding.UNKNOWN, Finding.YES)
    facts = replace(
        course.facts,
        state=course.life.state,
        looks=(*course.facts.looks, seen),
        worn=chance.choice((None, worn(30), worn(90))),
        double_vision=chance.choice(findings),
        new_squint=chance.choice(findings),
        skin_reaction=chance.choice(findings),
    )
    return replace(course, facts=facts)


def follow(chance: Random, course: Course, answer: Proposal, on: date) -> Course:
    """The orthoptist decides: as proposed three times in four, else leaves it as it is."""
    facts, life, state = course.facts, course.life, course.life.state
    look_on = answer.review_on or on
    if answer.action is Action.STOP and state is not State.WATCHED:
        life = turn(life, State.STOPPED, on, look_on, ORTHOPTIST)
        life = turn(life, State.WATCHED, on, look_on, TOOL)
        return Course(replace(facts, regimen=replace(facts.regimen, ends=on)), life)
    if answer.action is Action.PAUSE and state is not State.PAUSED:
        return Course(facts, turn(life, State.PAUSED, on, look_on, ORTHOPTIST))
    if answer.action is Action.END_WATCH:
        return Course(facts, turn(life, State.ENDED, on, None, TOOL))
    if chance.random() < 0.25:
        return course
    if answer.action in (Action.RAISE, Action.TAPER):
        taper = answer.action is Action.TAPER
        life = turn(life, State.CHANGED, on, look_on, ORTHOPTIST)
        life = turn(life, State.TAPERING if taper else State.RUNNING, on, look_on, TOOL)
        new = answer.minutes_per_day
        assert new is not None
        changed = replace(facts.regimen, id=f"{facts.regimen.id}+", minutes_per_day=new, starts=on)
        ended = replace(facts.regimen, ends=on)
        return Course(
            replace(facts, regimen=changed, minutes_today=new, previous=(*facts.previous, ended)),
            life,
        )
    if answer.action is Action.REFER and state is State.PAUSED:
        return Course(facts, turn(life, State.RUNNING, on, look_on, ORTHOPTIST))
    return course


def courses(count: int, chance: Random) -> tuple[set[State], set[Action]]:
    """Random courses, each of which must hold every law; how they ended, and what was proposed."""
    ended: set[State] = set()
    proposals: set[Action] = set()
    for number in range(count):
        course = begin(chance, number)
        on = STARTS
        for _ in range(chance.randrange(2, 6)):
            on += timedelta(days=chance.choice((7, 14, 42, 70, 364)))
            course = visit(chance, course, on)
            before = course
            answer = propose(course.facts, PROTOCOL, on)
            proposals.add(answer.action)
            hold_laws(course.facts, answer, on)
            course = follow(chance, course, answer, on)
            no_contradiction(before, course, answer, on)
            if not MAY_BECOME[course.life.state]:
                break
        ended.add(course.life.state)
    return ended, proposals


def test_thousands_of_random_courses_hold_every_law_and_lose_no_regimen() -> None:
    # Many more: python -m tests.benchmarks.courses
    ended, proposals = courses(3_000, Random(20261124))
    assert proposals == set(Action)
    assert ended >= {State.RUNNING, State.TAPERING, State.PAUSED, State.WATCHED, State.ENDED}


def no_contradiction(before: Course, after: Course, answer: Proposal, on: date) -> None:
    """The life and the regimen tell the same story, and nothing told earlier is gone."""
    facts, life = after.facts, after.life
    assert life.turns[: len(before.life.turns)] == before.life.turns
    kept = (*facts.previous, facts.regimen)
    assert {r.id for r in (*before.facts.previous, before.facts.regimen)} <= {r.id for r in kept}
    assert all(one.ends == other.starts for one, other in pairwise(kept))
    in_force = [r for r in kept if r.starts <= on and (r.ends is None or r.ends > on)]
    assert len(in_force) == (life.state in (*OCCLUDED, State.PAUSED))
    assert (life.state is State.ENDED) == (life.review_on is None)
    if before.life.state not in OCCLUDED and life.state in OCCLUDED:
        assert any(t.by is ORTHOPTIST for t in life.turns[len(before.life.turns) :])
    if answer.action is Action.STOP:
        assert life.state is State.WATCHED
