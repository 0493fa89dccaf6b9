"""Examinations under anaesthesia on the lists of the diary. That what falls due around one is done
in the same sleep is common practice, no source."""

from collections.abc import Sequence
from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from rehab.care.case import Appointment, CheckKind
from rehab.care.checks import Check
from rehab.care.diary import ASLEEP, Session
from rehab.care.list_visits import plan_visits_and_lists
from rehab.care.visits import Visit, plan_visits
from tests.care.test_visits import TODAY, check, day, days

EVERY_DAY = days(*range(100))
ASLEEP_CHECK = check(20, 30, 50, CheckKind.ANAESTHESIA)


def list_on(number: int, kinds: Sequence[CheckKind] = ASLEEP, code: str = "theatre") -> Session:
    return Session(
        f"{code}/{day(number)}", code, "north", day(number), 480, 720, "UTC", 240, tuple(kinds),
        True, "",
    )  # fmt: skip


def planned(
    checks: Sequence[Check],
    lists: Sequence[Session],
    booked: dict[date, Appointment] | None = None,
    open_days: Sequence[date] = EVERY_DAY,
) -> tuple[tuple[Visit, ...], tuple[Check, ...]]:
    return plan_visits_and_lists(
        checks, today=TODAY, open_days=open_days, booked=booked or {}, lists=lists
    )


def test_an_examination_under_anaesthesia_falls_on_the_list_nearest_to_its_target() -> None:
    visits, shut_out = planned([ASLEEP_CHECK], [list_on(10), list_on(22), list_on(36), list_on(49)])
    assert visits == (Visit(day(36), day(22), day(49), (ASLEEP_CHECK,)),)
    assert shut_out == ()


def test_without_a_list_in_its_window_it_falls_on_a_clinic_day() -> None:
    visits, _ = planned([ASLEEP_CHECK], [list_on(10), list_on(60)])
    assert [visit.on for visit in visits] == [day(30)]


def test_what_falls_due_around_the_list_is_done_in_the_same_sleep() -> None:
    pressure = check(25, 35, 45, CheckKind.PRESSURE)
    review = check(25, 35, 45, CheckKind.REVIEW)
    later = check(60, 65, 70, CheckKind.PRESSURE)
    visits, _ = planned([pressure, review, ASLEEP_CHECK, later], [list_on(28)])
    assert [(v.on, {c.kind for c in v.checks}) for v in visits] == [
        (day(28), {CheckKind.ANAESTHESIA, CheckKind.PRESSURE}),
        (day(35), {CheckKind.REVIEW}),
        (day(65), {CheckKind.PRESSURE}),
    ]


def test_only_what_every_list_offers_is_done_asleep() -> None:
    pressure = check(25, 35, 45, CheckKind.PRESSURE)
    only = [list_on(28, [CheckKind.ANAESTHESIA]), list_on(29)]
    visits, _ = planned([pressure, ASLEEP_CHECK], only)
    assert [[c.kind for c in v.checks] for v in visits] == [
        [CheckKind.ANAESTHESIA],
        [CheckKind.PRESSURE],
    ]


def test_a_booking_for_the_clinic_leaves_the_examination_to_a_list() -> None:
    in_clinic = {day(40): Appointment("A1", day(40), session=f"mondays/{day(40)}")}
    visits, _ = planned([ASLEEP_CHECK], [list_on(28)], in_clinic)
    assert [(v.on, v.booked, len(v.checks)) for v in visits] == [
        (day(28), False, 1),
        (day(40), True, 0),
    ]


def test_a_booking_on_a_list_settles_it() -> None:
    on_list = {day(28): Appointment("A1", day(28), session=f"theatre/{day(28)}")}
    visits, _ = planned([ASLEEP_CHECK], [list_on(28), list_on(30)], on_list)
    assert [(v.on, v.booked, v.checks) for v in visits] == [(day(28), True, (ASLEEP_CHECK,))]


def test_a_check_that_a_booked_visit_brings_stays_with_it() -> None:
    pressure = check(25, 35, 45, CheckKind.PRESSURE)
    in_clinic = {day(40): Appointment("A1", day(40), session=f"mondays/{day(40)}")}
    visits, _ = planned([pressure, ASLEEP_CHECK], [list_on(28)], in_clinic)
    assert [(v.on, [c.kind for c in v.checks]) for v in visits] == [
        (day(28), [CheckKind.ANAESTHESIA]),
        (day(40), [CheckKind.PRESSURE]),
    ]


def test_one_day_is_one_visit() -> None:
    pressure = check(28, 28, 28, CheckKind.PRESSURE)
    review = check(28, 28, 28, CheckKind.REVIEW)
    visits, _ = planned([pressure, review, ASLEEP_CHECK], [list_on(28)])
    (visit,) = visits
    assert (visit.on, visit.earliest, visit.latest) == (day(28), day(28), day(28))
    assert {c.kind for c in visit.checks} == {
        CheckKind.ANAESTHESIA, CheckKind.PRESSURE, CheckKind.REVIEW,
    }  # fmt: skip


def windows(kinds: Sequence[CheckKind]) -> st.SearchStrategy[list[Check]]:
    def made(numbers: list[tuple[int, int, int, CheckKind]]) -> list[Check]:
        return [
            check(start, start + before, start + before + after, kind, ordinal=n)
            for n, (start, before, after, kind) in enumerate(numbers)
        ]

    one = st.tuples(
        st.integers(0, 40), st.integers(0, 15), st.integers(0, 15), st.sampled_from(kinds)
    )
    return st.lists(one, max_size=6).map(made)


@given(
    windows((CheckKind.ANAESTHESIA, CheckKind.PRESSURE, CheckKind.REVIEW)),
    st.sets(st.integers(0, 80), max_size=5),
    st.sets(st.integers(0, 80), max_size=12),
    st.sets(st.integers(0, 80), max_size=2),
)
def test_every_check_is_in_one_visit_in_its_window_or_shut_out(
    checks: list[Check], held: set[int], opened: set[int], given_days: set[int]
) -> None:
    lists = [list_on(number) for number in sorted(held)]
    booked = {day(n): Appointment(f"A{n}", day(n)) for n in sorted(given_days)}
    visits, shut_out = planned(checks, lists, booked, days(*sorted(opened)))
    settled = [c for v in visits for c in v.checks]
    assert sorted(c.key for c in (*settled, *shut_out)) == sorted(c.key for c in checks)
    assert [v.on for v in visits] == sorted({v.on for v in visits})
    on_list = {session.on for session in lists}
    for visit in visits:
        assert visit.booked == (visit.on in booked)
        assert visit.earliest <= visit.on <= visit.latest
        for one in visit.checks:
            assert one.earliest <= visit.on <= one.by
            if one.kind is CheckKind.ANAESTHESIA and any(
                one.earliest <= d <= one.by for d in on_list
            ):
                assert visit.on in on_list or visit.on in booked
    assert {day(n) for n in given_days} <= {v.on for v in visits}


@given(windows((CheckKind.ANAESTHESIA, CheckKind.PRESSURE)), st.sets(st.integers(0, 80)))
def test_without_lists_the_visits_are_as_ever(checks: list[Check], opened: set[int]) -> None:
    open_days = days(*sorted(opened))
    expected = plan_visits(checks, today=TODAY, open_days=open_days, booked=())
    assert planned(checks, [], open_days=open_days) == expected
