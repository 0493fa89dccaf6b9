"""Stories and laws of visits. One trip for several checks is common practice, no source."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import combinations
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.care.case import CheckKind, Eye
from rehab.care.checks import Check, Status
from rehab.care.visits import Visit, Wish, choose_days, plan_visits
from rehab.errors import RecordError
from rehab.rules.protocol import Because

TODAY = date(2026, 3, 2)  # a Monday
BECAUSE = Because("pressure_check", TODAY, "a-row", "assumption", "", "", False, "", ())


def day(number: int) -> date:
    return TODAY + timedelta(days=number)


def days(*numbers: int) -> tuple[date, ...]:
    return tuple(day(number) for number in numbers)


def check(
    earliest: int,
    target: int,
    by: int,
    kind: CheckKind = CheckKind.PRESSURE,
    eye: Eye = Eye.LEFT,
    ordinal: int = 1,
) -> Check:
    """A check by the numbers of its days from today on; an overdue one has its target behind it."""
    status = Status.OVERDUE if target < 0 else Status.PLANNED
    latest = max(target, min(by, target + 7))
    return Check(
        kind,
        eye,
        anchor=day(-30),
        ordinal=ordinal,
        earliest=day(earliest),
        target=day(target),
        latest=day(latest),
        by=day(by),
        status=status,
        because=BECAUSE,
    )


def wish(earliest: int, target: int, latest: int) -> Wish:
    return Wish(day(earliest), day(target), day(latest))


def planned(
    checks: Sequence[Check],
    open_days: Sequence[date] = days(*range(100)),
    booked: Sequence[date] = (),
) -> tuple[tuple[Visit, ...], tuple[Check, ...]]:
    return plan_visits(checks, today=TODAY, open_days=open_days, booked=booked)


def test_checks_of_both_eyes_share_one_trip() -> None:
    left = check(10, 14, 18, CheckKind.PRESSURE, Eye.LEFT)
    right = check(14, 20, 26, CheckKind.REFRACTION, Eye.RIGHT)
    assert planned([left, right]) == ((Visit(day(14), day(14), day(18), (left, right)),), ())


def test_a_trip_lies_where_most_checks_want_it() -> None:
    wishes = [check(0, 10, 30, ordinal=1), check(0, 20, 30, ordinal=2), check(0, 20, 30, ordinal=3)]
    assert [visit.on for visit in planned(wishes)[0]] == [day(20)]


def test_windows_that_do_not_meet_need_two_trips() -> None:
    assert [v.on for v in planned([check(0, 5, 9), check(10, 12, 20)])[0]] == list(days(5, 12))


def test_of_two_days_equally_near_the_earlier_is_chosen() -> None:
    assert choose_days([wish(0, 10, 20)], days(7, 13), ()) == days(7)
    visits, _ = planned([check(0, 10, 20)], booked=days(7, 13))
    assert [len(visit.checks) for visit in visits] == [1, 0]


def test_of_two_equally_good_sets_the_one_with_the_earlier_first_day_is_chosen() -> None:
    wishes = [wish(5, 5, 8), wish(5, 9, 12), wish(0, 2, 5), wish(7, 16, 16)]
    assert choose_days(wishes, days(0, 1, 3, 4, 5, 7), ()) == days(1, 7)


def test_a_booked_day_that_serves_saves_a_trip_though_a_nearer_day_is_open() -> None:
    wanted = check(10, 14, 30)
    visits, shut_out = planned([wanted], booked=days(28))
    assert visits == (Visit(day(28), day(10), day(30), (wanted,), booked=True),)
    assert shut_out == ()


def test_a_booked_day_serves_although_the_clinic_is_not_known_to_be_open() -> None:
    wanted = check(10, 14, 18)
    visits, shut_out = planned([wanted], open_days=(), booked=days(15))
    assert visits == (Visit(day(15), day(15), day(15), (wanted,), booked=True),)
    assert shut_out == ()


def test_a_booked_day_that_no_check_needs_stays_a_visit() -> None:
    visits, _ = planned([check(10, 14, 18)], booked=days(40))
    assert visits[1] == Visit(day(40), day(40), day(40), (), booked=True)


def test_a_check_goes_to_the_nearest_trip_of_its_window() -> None:
    early, late, between = check(0, 5, 6), check(21, 21, 22), check(0, 17, 30, CheckKind.FUNDUS)
    visits, _ = planned([early, late, between])
    assert [(visit.on, visit.checks) for visit in visits] == [
        (day(5), (early,)),
        (day(21), (between, late)),
    ]


def test_an_overdue_check_is_wanted_from_today_on_and_at_once() -> None:
    overdue = check(-40, -20, 7)
    assert planned([overdue])[0] == (Visit(day(0), day(0), day(7), (overdue,)),)
    assert [v.on for v in planned([overdue], open_days=days(-1, 3, 5))[0]] == [day(3)]


def test_a_target_after_the_last_day_counts_as_the_last_day() -> None:
    wanted = replace(check(0, 20, 25), by=day(10))
    assert [visit.on for visit in planned([wanted])[0]] == [day(10)]


def test_a_check_whose_window_is_shut_is_handed_back_and_never_moved() -> None:
    shut, past, fine = check(10, 14, 18), check(-20, -10, -1), check(30, 31, 32)
    visits, shut_out = planned([fine, shut, past], open_days=days(9, 19, 31))
    assert [visit.on for visit in visits] == [day(31)]
    assert shut_out == (past, shut)


def test_checks_of_a_visit_are_in_order_of_kind_then_eye() -> None:
    both = [
        check(0, 5, 9, kind, eye)
        for kind in (CheckKind.REVIEW, CheckKind.FUNDUS)
        for eye in (Eye.RIGHT, Eye.LEFT)
    ]
    (visit,) = planned(both)[0]
    assert [(c.kind, c.eye) for c in visit.checks] == [
        (CheckKind.FUNDUS, Eye.LEFT),
        (CheckKind.FUNDUS, Eye.RIGHT),
        (CheckKind.REVIEW, Eye.LEFT),
        (CheckKind.REVIEW, Eye.RIGHT),
    ]


def test_without_checks_and_bookings_there_is_no_visit() -> None:
    assert planned([]) == ((), ())
    assert choose_days([], days(1, 2), ()) == ()


def test_a_day_booked_twice_is_one_visit() -> None:
    assert [visit.on for visit in planned([], booked=days(3, 3))[0]] == [day(3)]


def test_a_window_without_an_open_day_is_refused_with_its_dates() -> None:
    with pytest.raises(RecordError, match="no day is open from 2026-03-12 to 2026-03-14") as caught:
        choose_days([wish(10, 11, 12)], days(9, 13), ())
    assert str(caught.value).endswith("Open a day in this window.")


def test_a_window_that_does_not_hold_its_target_is_refused() -> None:
    with pytest.raises(RecordError, match="does not hold its target"):
        wish(10, 13, 12)


@st.composite
def windows(draw: st.DrawFn, last: int, widest: int) -> tuple[int, int, int]:
    target = draw(st.integers(0, last))
    early, late = draw(st.integers(0, widest)), draw(st.integers(0, widest))
    return target - early, target, target + late


NUMBERS = st.integers(0, 11)


def best_by_trying_all(
    wishes: Sequence[Wish], open_days: Sequence[date], fixed: Sequence[date]
) -> tuple[date, ...]:
    """The first set that serves every wish, ordered by trips, then distance, then its days."""
    free = sorted(set(open_days) - set(fixed))
    for trips in range(len(free) + 1):
        sets = [tuple(sorted({*fixed, *added})) for added in combinations(free, trips)]
        rated = [(total, chosen) for chosen in sets if (total := distance(wishes, chosen)) >= 0]
        if rated:
            return min(rated)[1]
    raise AssertionError("some wish cannot be met")


def distance(wishes: Sequence[Wish], chosen: Sequence[date]) -> int:
    """The total distance from the targets; -1 when some wish is not served."""
    served = [
        [abs((on - w.target).days) for on in chosen if w.earliest <= on <= w.latest] for w in wishes
    ]
    return sum(map(min, served)) if all(served) else -1


@given(
    st.lists(windows(11, 5), max_size=7),
    st.sets(NUMBERS),
    st.lists(NUMBERS, max_size=2),
)
def test_the_very_set_that_trying_all_sets_finds_is_chosen(
    wanted: list[tuple[int, int, int]], opened: set[int], booked: list[int]
) -> None:
    usable = opened.union(booked)
    wishes = [wish(*w) for w in wanted if usable.intersection(range(w[0], w[2] + 1))]
    open_days, fixed = days(*sorted(opened)), days(*booked)
    chosen = choose_days(wishes, open_days, fixed)
    assert chosen == best_by_trying_all(wishes, open_days, fixed)


CHECKS = st.lists(
    st.builds(
        lambda window, kind, eye, ordinal: check(
            window[0], window[1], window[2], kind, eye, ordinal
        ),
        windows(120, 30),
        st.sampled_from(CheckKind),
        st.sampled_from(Eye),
        st.integers(1, 9),
    ),
    max_size=25,
    unique_by=lambda c: (c.key, c.target),
)
SOME_DAYS = st.lists(st.integers(0, 150), unique=True, max_size=80).map(
    lambda numbers: days(*sorted(numbers))
)


@given(CHECKS, SOME_DAYS, st.lists(st.integers(0, 150), max_size=3), st.randoms())
def test_the_order_of_the_checks_does_not_matter(
    checks: list[Check], open_days: tuple[date, ...], booked: list[int], random: Random
) -> None:
    shuffled = list(checks)
    random.shuffle(shuffled)
    bookings = days(*booked)
    assert planned(shuffled, open_days, bookings[::-1]) == planned(checks, open_days, bookings)


@given(CHECKS, SOME_DAYS, st.lists(st.integers(0, 150), max_size=3))
def test_every_check_is_settled_once_in_its_window_or_handed_back(
    checks: list[Check], open_days: tuple[date, ...], booked: list[int]
) -> None:
    visits, shut_out = planned(checks, open_days, days(*booked))
    settled = [c for visit in visits for c in visit.checks]
    assert sorted([*settled, *shut_out], key=repr) == sorted(checks, key=repr)
    usable = {*open_days, *days(*booked)}
    for visit in visits:
        assert visit.on in usable
        assert visit.booked == (visit.on in days(*booked))
        assert visit.checks or visit.booked
        assert visit.earliest <= visit.on <= visit.latest
        assert all(max(c.earliest, TODAY) <= visit.on <= c.by for c in visit.checks)
    for c in shut_out:
        assert not any(max(c.earliest, TODAY) <= on <= c.by for on in usable)
    assert set(days(*booked)) <= {visit.on for visit in visits}


@given(CHECKS, SOME_DAYS)
def test_every_day_of_a_visits_own_window_serves_all_its_checks(
    checks: list[Check], open_days: tuple[date, ...]
) -> None:
    for visit in planned(checks, open_days)[0]:
        for c in visit.checks:
            assert c.earliest <= visit.earliest <= visit.latest <= c.by
