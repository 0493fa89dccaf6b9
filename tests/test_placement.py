"""Stories of a proposal: who gets a place, who comes with whom, and what is said of the others."""

from dataclasses import replace
from datetime import timedelta

import pytest

from rehab.care.booking import Opening, Proposal, Request, check_placement
from rehab.care.case import CheckKind
from rehab.care.contacts import Limits
from rehab.errors import RecordError, RehabError
from rehab.placement import propose
from tests.placement_cases import FIRST_DAY as MONDAY

TUESDAY, WEDNESDAY = MONDAY + timedelta(1), MONDAY + timedelta(2)
REVIEW = frozenset({CheckKind.REVIEW})


def opening(id: str = "monday", **changes: object) -> Opening:
    return replace(Opening(id, "North", MONDAY, 9 * 60, 60, REVIEW), **changes)  # type: ignore[arg-type]


def request(child: str = "c1", **changes: object) -> Request:
    usual = Request(child, "v", MONDAY, MONDAY, WEDNESDAY, 30, REVIEW, 3)
    return replace(usual, **changes)  # type: ignore[arg-type]


def places(proposal: Proposal) -> dict[str, str]:
    return {p.request.child_number: p.opening_id for p in proposal.placed}


def why(proposal: Proposal) -> dict[str, str]:
    return {n.request.child_number: n.why for n in proposal.not_placed}


def do(proposal: Proposal) -> dict[str, str]:
    return {n.request.child_number: n.do for n in proposal.not_placed}


def test_the_most_urgent_visit_takes_the_last_place_even_where_two_others_would_fit() -> None:
    wanted = [request("a", minutes=30), request("b", minutes=30), request("u", minutes=60)]
    wanted[2] = replace(wanted[2], urgency=1)
    proposal = propose(wanted, [opening()])
    assert places(proposal) == {"u": "monday"}
    assert why(proposal)["a"] == (
        "Every session that suits is full of visits that are at least as urgent (monday): the most "
        "room left is 0 of 30 minutes."
    )
    assert proposal.proven


def test_a_visit_goes_as_near_its_target_as_there_is_room() -> None:
    wanted = [request("a"), request("b"), request("c", target=WEDNESDAY)]
    held = [opening(free_minutes=30), opening("tuesday", on=TUESDAY)]
    proposal = propose(wanted, held)
    assert sorted(places(proposal).values()) == ["monday", "tuesday", "tuesday"]
    assert places(proposal)["c"] == "tuesday"
    assert proposal.days_off_target == 2


def test_siblings_come_on_one_day_although_each_had_a_nearer_one() -> None:
    wanted = [request("a", family="f"), request("b", family="f", target=TUESDAY)]
    held = [
        opening(free_minutes=30),
        opening("tuesday", on=TUESDAY, free_minutes=30),
        opening("wednesday", on=WEDNESDAY),
    ]
    proposal = propose(wanted, held)
    assert places(proposal) == {"a": "wednesday", "b": "wednesday"}
    assert proposal.stages[4].found == proposal.stages[4].bound == 1


def test_siblings_never_cost_a_child_its_place_and_it_is_said_that_they_come_apart() -> None:
    wanted = [request("a", family="f"), request("b", family="f"), request("c", latest=MONDAY)]
    wanted.append(request("d", earliest=TUESDAY, target=TUESDAY, latest=TUESDAY))
    proposal = propose(wanted, [opening(), opening("tuesday", on=TUESDAY)])
    assert len(proposal.placed) == 4
    (apart,) = proposal.apart
    assert {r.child_number for r in apart.requests} == {"a", "b"}
    assert apart.why == "No day that suits all of them has room left for all."


@pytest.mark.parametrize(
    ("limits", "obstacle", "advice"),
    [
        (Limits(weekdays=(4,)), "its weekday", "Ask the family"),
        (Limits(not_before_minute=10 * 60), "its hour", "Ask the family"),
        (Limits(farthest_km=20, distances_km=(("North", 30),)), "its distance", "Ask the family"),
        (Limits(farthest_km=20), "a distance that is not recorded", "Record how far"),
    ],
)
def test_a_stated_limit_is_kept_and_named(limits: Limits, obstacle: str, advice: str) -> None:
    proposal = propose([request(limits=limits)], [opening()])
    assert not proposal.placed
    assert why(proposal)["c1"].endswith(f"for {obstacle}.")
    assert do(proposal)["c1"].startswith(advice)


def test_a_limit_that_is_met_keeps_nobody_away() -> None:
    limits = Limits("", (0,), 9 * 60, 20, (("North", 20),))
    assert places(propose([request(limits=limits)], [opening()])) == {"c1": "monday"}


def test_a_session_must_offer_every_kind_of_the_visit() -> None:
    both = frozenset({CheckKind.REVIEW, CheckKind.PRESSURE})
    pressure = opening("tuesday", on=TUESDAY, kinds=frozenset({CheckKind.PRESSURE}))
    apart = propose([request(kinds=both)], [opening(), pressure])
    assert "No one session" in why(apart)["c1"]
    nowhere = propose([request(kinds=both)], [opening()])
    assert "offers pressure check" in why(nowhere)["c1"]
    together = propose([request(kinds=both)], [opening(), replace(pressure, kinds=both)])
    assert places(together) == {"c1": "tuesday"}


def test_without_sessions_everyone_is_told_so() -> None:
    proposal = propose([request()], [])
    assert why(proposal)["c1"] == f"No session is held from {MONDAY} to {WEDNESDAY}."
    assert proposal.placed == ()
    assert propose([], [opening()]).not_placed == ()


def test_a_session_outside_the_window_is_no_session() -> None:
    far = opening(on=WEDNESDAY + timedelta(1))
    assert "No session is held" in why(propose([request()], [far]))["c1"]


@pytest.mark.parametrize("left", [0, 20])
def test_a_session_that_is_full_already_takes_nobody(left: int) -> None:
    proposal = propose([request()], [opening(free_minutes=left)])
    assert why(proposal)["c1"].endswith(f"was {left}: {30 - left} are missing.")


def test_a_session_with_less_than_no_room_is_refused() -> None:
    with pytest.raises(RecordError, match="-5 minutes are left"):
        opening(free_minutes=-5)


def test_a_visit_that_asks_twice_and_two_sessions_of_one_name_are_refused() -> None:
    with pytest.raises(RecordError, match="asks for a place twice"):
        propose([request(), request()], [opening()])
    with pytest.raises(RecordError, match="two sessions have this name"):
        propose([request()], [opening(), opening()])


def test_a_search_needs_time() -> None:
    with pytest.raises(RehabError, match="Allow it more than 0 seconds"):
        propose([request()], [opening()], seconds=0)


def test_thousands_of_visits_alike_fill_the_sessions_to_the_last_place() -> None:
    wanted = [request(f"c{n:04}") for n in range(5000)]
    held = [opening(free_minutes=40_000), opening("tuesday", on=TUESDAY, free_minutes=60_030)]
    proposal = propose(wanted, held)
    assert proposal.proven
    assert len(proposal.placed) == 40_000 // 30 + 60_030 // 30
    assert proposal.days_off_target == 60_030 // 30
    assert check_placement(wanted, held, proposal.placed) == ()


def test_a_placement_that_breaks_a_rule_is_described() -> None:
    wanted = [request("a", family="f"), request("b", family="f", minutes=45)]
    held = [opening(free_minutes=75), opening("tuesday", on=TUESDAY)]
    broken = propose(wanted, held).placed
    assert check_placement(wanted, held, broken) == ()
    moved = [replace(broken[0], opening_id="tuesday"), broken[1]]
    assert check_placement(wanted, held, moved) == (
        f"a, visit v and b, visit v: siblings come on different days, and all could on {MONDAY}.",
    )
    small = [replace(held[0], free_minutes=60), held[1]]
    assert "session monday: 75 minutes are placed in 60." in check_placement(wanted, small, broken)
