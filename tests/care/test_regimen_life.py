from dataclasses import replace
from datetime import date, timedelta
from itertools import product

import pytest

from rehab.care.case import Correction, Eye, LensStatus, Method
from rehab.care.regimen_life import (
    BY_ANYONE,
    MAY_BECOME,
    NEED_REASON,
    OVER,
    Acceptance,
    Life,
    Person,
    Role,
    State,
    Turn,
    advance,
    check_acceptance,
    proposed,
)
from rehab.errors import RecordError
from rehab.measures.fixation import Finding

DAY = date(2026, 3, 2)
LATER = DAY + timedelta(days=28)
ORTHOPTIST = Person("S. Lindqvist", Role.ORTHOPTIST)
TOOL = Person("rehab", Role.TOOL)
WITH_HOURS = (State.ACCEPTED, State.CHANGED, State.RUNNING, State.TAPERING)


def life(state: State) -> Life:
    return Life("T-1", (Turn(state, DAY, ORTHOPTIST, "as told", LATER),))


def turn(state: State, by: Person = ORTHOPTIST, **more: object) -> Turn:
    plain = Turn(state, DAY, by, "the family asked", LATER)
    return replace(plain, **more)  # type: ignore[arg-type]


def test_a_regimen_lives_from_proposal_to_the_end_of_the_watch() -> None:
    told = proposed("T-1", DAY, "occlusion_dose/unilateral-month-2")
    for step in (
        turn(State.ACCEPTED),
        turn(State.RUNNING, TOOL),
        turn(State.CHANGED),
        turn(State.RUNNING, TOOL),
        turn(State.TAPERING),
        turn(State.STOPPED),
        turn(State.WATCHED, TOOL),
        turn(State.ENDED, TOOL),
    ):
        told = advance(told, step)
    assert [t.state for t in told.turns][-3:] == [State.STOPPED, State.WATCHED, State.ENDED]
    assert told.review_on is None


@pytest.mark.parametrize(("now", "then"), list(product(State, State)))
def test_only_the_listed_turns_may_be(now: State, then: State) -> None:
    if then in MAY_BECOME[now]:
        assert advance(life(now), turn(then)).state is then
        return
    with pytest.raises(RecordError, match=f"that is {now} cannot become {then}") as refused:
        advance(life(now), turn(then))
    if MAY_BECOME[now]:
        assert all(state in refused.value.do for state in MAY_BECOME[now])
    else:
        assert refused.value.do == "Begin with a new proposal."


def _reached(start: State, roles: tuple[Role, ...]) -> set[State]:
    """Every state that `roles` can bring about from `start` by themselves."""
    seen, ahead = {start}, [start]
    while ahead:
        now = ahead.pop()
        for role, then in product(roles, MAY_BECOME[now]):
            try:
                advance(life(now), turn(then, Person("somebody", role)))
            except RecordError:
                continue
            if then not in seen:
                seen.add(then)
                ahead.append(then)
    return seen


@pytest.mark.parametrize("start", [State.PROPOSED, State.STOPPED, State.WATCHED, State.PAUSED])
def test_no_path_leads_to_hours_without_an_orthoptist_or_a_doctor(start: State) -> None:
    reached = _reached(start, (Role.TOOL, Role.FAMILY, Role.NURSE))
    assert not reached & set(WITH_HOURS)


def test_every_path_from_stopped_to_hours_passes_a_proposal_and_its_acceptance() -> None:
    without_acceptance = {
        now: [t for t in then if now is not State.PROPOSED] for now, then in MAY_BECOME.items()
    }
    seen, ahead = set(), [State.STOPPED]
    while ahead:
        seen.add(now := ahead.pop())
        ahead += [then for then in without_acceptance[now] if then not in seen]
    assert not seen & set(WITH_HOURS)


@pytest.mark.parametrize(("now", "then"), [(a, b) for a, may in MAY_BECOME.items() for b in may])
def test_whatever_is_not_over_has_a_date_to_look(now: State, then: State) -> None:
    for none_or_past in (None, DAY - timedelta(days=1)):
        asked = turn(then, review_on=none_or_past)
        if then in OVER:
            assert advance(life(now), asked).review_on is None
        else:
            with pytest.raises(RecordError, match="without a date to look at the child"):
                advance(life(now), asked)


def test_every_stop_leads_into_a_watch_and_nowhere_else() -> None:
    assert MAY_BECOME[State.STOPPED] == (State.WATCHED,)
    assert advance(life(State.STOPPED), turn(State.WATCHED, TOOL)).review_on == LATER


@pytest.mark.parametrize("then", NEED_REASON)
def test_a_change_a_refusal_a_pause_and_a_stop_need_a_reason(then: State) -> None:
    now = next(state for state, may in MAY_BECOME.items() if then in may)
    with pytest.raises(RecordError, match=f"becomes {then} without a reason. Give the reason in"):
        advance(life(now), turn(then, reason="  "))


@pytest.mark.parametrize("role", [Role.FAMILY, Role.NURSE])
def test_a_family_or_a_nurse_may_stop_and_pause_but_give_no_hours(role: Role) -> None:
    somebody = Person("A. Brandt", role)
    for then in BY_ANYONE:
        assert advance(life(State.RUNNING), turn(then, somebody)).state is then
    with pytest.raises(RecordError, match=rf"A. Brandt \({role}\) cannot make occlusion accepted"):
        advance(life(State.PROPOSED), turn(State.ACCEPTED, somebody))


def test_the_tool_accepts_stops_and_resumes_nothing() -> None:
    for now, then in (
        (State.PROPOSED, State.ACCEPTED),
        (State.PROPOSED, State.DECLINED),
        (State.RUNNING, State.STOPPED),
        (State.PAUSED, State.RUNNING),
    ):
        with pytest.raises(RecordError, match="Ask an orthoptist or a doctor to decide"):
            advance(life(now), turn(then, TOOL))


def test_a_turn_before_the_last_one_or_by_nobody_is_refused() -> None:
    with pytest.raises(RecordError, match="cannot become stopped on 2026-03-01, before it became"):
        advance(life(State.RUNNING), turn(State.STOPPED, on=date(2026, 3, 1)))
    with pytest.raises(RecordError, match="nobody is named"):
        advance(life(State.RUNNING), turn(State.STOPPED, Person(" ", Role.ORTHOPTIST)))


PATCH = Acceptance(
    number="T-1",
    by=ORTHOPTIST,
    method=Method.PATCH,
    treated_eye=Eye.RIGHT,
    occluded_eye=Eye.LEFT,
    better_eye_lens=LensStatus.PHAKIC,
    better_eye_correction=Correction.GLASSES,
    prescriber="",
    minutes_per_day=120,
    waking_minutes=700,
    starts=DAY,
    review_on=LATER,
)
ATROPINE = replace(PATCH, method=Method.ATROPINE, minutes_per_day=None, prescriber="Dr R. Haddad")


@pytest.mark.parametrize(
    "asked", [ATROPINE, *(replace(PATCH, method=m) for m in Method if m is not Method.ATROPINE)]
)
def test_every_method_can_be_accepted_where_nothing_forbids_it(asked: Acceptance) -> None:
    check_acceptance(asked)


def _lens(status: LensStatus) -> dict[str, object]:
    return {"better_eye_lens": status}


REFUSED = [
    # who, and which eye
    (PATCH, {"by": Person("A. Brandt", Role.NURSE)}, "A. Brandt (nurse) cannot accept occlusion."),
    (PATCH, {"by": TOOL}, "rehab (tool) cannot accept occlusion. Ask an orthoptist or a doctor"),
    (
        PATCH,
        {"occluded_eye": Eye.RIGHT},
        "the right eye is the one that needs the treatment: occluding it would harm it. "
        "Occlude the left eye.",
    ),
    (PATCH, {"review_on": None}, "has no review after its start. Give a review date after"),
    (PATCH, {"review_on": DAY}, "has no review after its start. Give a review date after"),
    (PATCH, {"minutes_per_day": 0}, "0 minutes a day is no occlusion."),
    (PATCH, {"minutes_per_day": 701}, "is more than the 700 that the child is awake."),
    # skin: topic page on amblyopia monitoring (seen)
    (PATCH, {"skin_reaction": Finding.YES}, "the skin reacts to the patch."),
    # glasses: common practice, no source
    (
        replace(PATCH, method=Method.CLOTH_PATCH),
        {"better_eye_correction": Correction.CONTACT_LENS},
        "needs glasses in front of the left eye, and it wears contact lens.",
    ),
    (
        replace(PATCH, method=Method.FILTER),
        {"better_eye_correction": Correction.NONE},
        "blurring filter needs glasses in front of the left eye",
    ),
    (
        replace(PATCH, method=Method.OPTICAL_BLUR),
        {"better_eye_correction": Correction.UNKNOWN},
        "optical blur needs glasses in front of the left eye",
    ),
    # atropine works on accommodation: physiology, from memory
    (ATROPINE, _lens(LensStatus.PSEUDOPHAKIC), "the left eye is pseudophakic and cannot focus"),
    (ATROPINE, _lens(LensStatus.APHAKIC), "the left eye is aphakic and cannot focus near"),
    (ATROPINE, _lens(LensStatus.UNKNOWN), "Record the lens status first."),
    (ATROPINE, {"prescriber": " "}, "atropine has no prescriber. A prescriber decides on the drug"),
    (ATROPINE, {"minutes_per_day": 60}, "atropine is not worn by the minute."),
]


@pytest.mark.parametrize(("asked", "more", "words"), REFUSED)
def test_what_would_harm_is_refused_with_its_reason(
    asked: Acceptance, more: dict[str, object], words: str
) -> None:
    with pytest.raises(RecordError) as refused:
        check_acceptance(replace(asked, **more))  # type: ignore[arg-type]
    assert words in str(refused.value)
    assert str(refused.value).startswith("T-1: ")


def test_the_eye_that_needs_the_treatment_is_never_occluded_by_any_method() -> None:
    for method, eye, lens in product(Method, Eye, LensStatus):
        asked = replace(
            PATCH, method=method, treated_eye=eye, occluded_eye=eye, better_eye_lens=lens
        )
        with pytest.raises(RecordError, match="the one that needs the treatment"):
            check_acceptance(asked)
