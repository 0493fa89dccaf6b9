"""Attendance, first correction and children without a date: each definition by a child."""

from collections import Counter
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import pytest

from rehab.care.case import Case
from rehab.care.figures import (
    AtPoint,
    Attended,
    NoDate,
    Period,
    attendance,
    attendance_of,
    corrections_of,
    last_seen,
    operated_on,
    windows,
    without_date,
)
from rehab.care.proportion import Share
from rehab.care.survival import Followed
from rehab.errors import RecordError
from rehab.measures.dates import add_months
from tests.care.cases import PROTOCOL, child, removal

OPERATED = date(2026, 1, 10)
TODAY = date(2029, 6, 1)
POINTS = windows(PROTOCOL, TODAY)
DAY = timedelta(days=1)


def operated(**facts: Any) -> Case:
    return child(surgery=[removal("right", OPERATED)], **facts)


def seen(*days: date) -> Case:
    return operated(exam=[{"on": day, "right": {"pressure": "14"}} for day in days])


def stands(case: Case, point: str, today: date = TODAY) -> str:
    return dict(attendance_of(case, POINTS, today))[point]


def counted(*cases: Case, today: date = TODAY) -> dict[str, AtPoint]:
    counts = Counter(found for case in cases for found in attendance_of(case, POINTS, today))
    return {at.window.point: at for at in attendance(counts, POINTS, PROTOCOL, today)}


@pytest.mark.parametrize("window", POINTS, ids=lambda w: w.point)
def test_a_child_attended_when_seen_on_the_edges_of_the_window_and_not_beyond(window: Any) -> None:
    on, today = window.step.after(OPERATED), date(2050, 1, 1)
    for day, wanted in (
        (on - window.early - DAY, Attended.NO),
        (on - window.early, Attended.YES),
        (on, Attended.YES),
        (on + window.late, Attended.YES),
        (on + window.late + DAY, Attended.NO),
    ):
        assert stands(seen(day), window.point, today) == wanted, day


def test_no_day_belongs_to_two_time_points() -> None:
    for one, other in pairwise(POINTS):
        assert one.step.after(OPERATED) + one.late < other.step.after(OPERATED) - other.early


def test_a_child_is_due_from_the_day_after_its_whole_window() -> None:
    closes = add_months(OPERATED, 3) + timedelta(days=30)
    came = seen(add_months(OPERATED, 3))
    assert stands(came, "3 months", closes) == Attended.NOT_YET
    assert stands(came, "3 months", closes + DAY) == Attended.YES


def test_an_appointment_counts_when_it_was_attended() -> None:
    for outcome, wanted in (("attended", Attended.YES), ("was not brought", Attended.NO)):
        case = operated(appointment=[{"on": add_months(OPERATED, 12), "outcome": outcome}])
        assert stands(case, "1 year") == wanted


@pytest.mark.parametrize("kind", ["moved away", "transferred", "discharged", "died"])
def test_care_that_ended_takes_the_child_out_from_then_on_whether_seen_or_not(kind: str) -> None:
    ended = add_months(OPERATED, 12)
    exam = [{"on": ended, "right": {"pressure": "14"}}]
    for case in (
        operated(ending={"kind": kind, "on": ended}),
        operated(ending={"kind": kind, "on": ended}, exam=exam),
    ):
        assert stands(case, "6 months") == Attended.NO
        assert stands(case, "1 year") == stands(case, "3 years") == kind


def test_a_child_that_declined_stays_in_and_counts_as_not_coming() -> None:
    case = operated(ending={"kind": "declined", "on": add_months(OPERATED, 4)})
    assert stands(case, "6 months") == stands(case, "2 years") == Attended.NO


def test_an_ending_after_today_is_not_known_yet() -> None:
    case = operated(ending={"kind": "died", "on": date(2027, 1, 1)})
    assert stands(case, "6 months", date(2026, 12, 31)) == Attended.NO


def test_who_was_not_operated_is_in_no_cohort() -> None:
    assert list(attendance_of(child(), POINTS, TODAY)) == []
    assert list(attendance_of(operated(), POINTS, OPERATED - DAY)) == []


def test_the_first_of_two_eyes_sets_time_zero() -> None:
    case = child(surgery=[removal("right", OPERATED), removal("left", date(2026, 1, 3))])
    assert operated_on(case, TODAY) == date(2026, 1, 3)
    assert operated_on(child(), TODAY) is None


def test_the_table_counts_due_attended_not_yet_due_and_left_out() -> None:
    year = add_months(OPERATED, 12)
    moved = operated(ending={"kind": "moved away", "on": date(2026, 9, 1)})
    young = child(surgery=[removal("right", date(2029, 3, 1))])
    table = counted(seen(year), seen(year, add_months(OPERATED, 24)), seen(), moved, young)
    assert table["1 year"].attended == Share(2, 3)
    assert (table["1 year"].not_yet_due, table["1 year"].left_out) == (1, (("moved away", 1),))
    assert table["2 years"].attended == Share(1, 3)
    assert list(table)[-1] == "3 years", "later points have nobody due"


def test_the_published_cohort_stands_beside_its_time_points_only() -> None:
    # Chougule P and others, Br J Ophthalmol 2018;102:1550-1555, abstract, seen: n = 169.
    table = counted(seen(), today=date(2040, 1, 1))
    published = {p: at.published.percent for p, at in table.items() if at.published}
    assert published == {
        "1 month": 85, "3 months": 61, "6 months": 55, "1 year": 52, "3 years": 39, "5 years": 28,
    }  # fmt: skip
    assert {at.published.children for at in table.values() if at.published} == {169}
    assert all(at.published.because.seen for at in table.values() if at.published)


def worn(day: date, what: str, eye: str = "right") -> dict[str, Any]:
    return {"on": day, eye: {"wears": what}}


def test_the_first_correction_is_counted_for_each_eye_from_its_own_operation() -> None:
    implant = {**removal("left", date(2026, 1, 17)), "procedure": "lens removal with implant"}
    case = child(
        surgery=[removal("right", OPERATED), implant],
        exam=[
            worn(date(2026, 1, 20), "none"),
            worn(date(2026, 1, 24), "contact lens"),
            worn(date(2026, 2, 1), "glasses"),
        ],
    )
    assert list(corrections_of(case, TODAY)) == [
        ("aphakic", Followed(14, True)),
        ("pseudophakic", Followed((TODAY - date(2026, 1, 17)).days, False)),
    ]


def test_glasses_from_before_the_operation_are_no_correction_of_it() -> None:
    before = operated(exam=[worn(OPERATED - DAY, "glasses")])
    on_the_day = operated(exam=[worn(OPERATED, "contact lens")])
    assert [f.happened for _, f in corrections_of(before, TODAY)] == [False]
    assert [f for _, f in corrections_of(on_the_day, TODAY)] == [Followed(0, True)]


def test_an_eye_without_correction_is_followed_until_care_ended() -> None:
    ended = {"kind": "declined", "on": OPERATED + timedelta(days=50)}
    case = operated(ending=ended, exam=[worn(OPERATED + timedelta(days=90), "glasses")])
    assert [f for _, f in corrections_of(case, TODAY)] == [Followed(50, False)]


def test_a_child_in_care_without_a_booking_from_today_on_has_no_date() -> None:
    said = NoDate("T-1", OPERATED, OPERATED)
    assert without_date(operated(), TODAY) == said
    for day, outcome, wanted in (
        (TODAY, "booked", None),
        (TODAY - DAY, "booked", said),
        (TODAY + DAY, "cancelled by clinic", said),
    ):
        case = operated(appointment=[{"on": day, "outcome": outcome}])
        assert without_date(case, TODAY) == wanted, (day, outcome)
    assert without_date(operated(ending={"kind": "moved away", "on": TODAY}), TODAY) is None
    assert without_date(child(), TODAY) == NoDate("T-1", None, None)


def test_last_seen_is_the_last_examination_attended_appointment_or_operation() -> None:
    assert last_seen(seen(date(2026, 5, 1), date(2030, 1, 1)), TODAY) == date(2026, 5, 1)
    attended = [{"on": date(2026, 7, 1), "outcome": "attended"}]
    assert last_seen(operated(appointment=attended), TODAY) == date(2026, 7, 1)


def test_a_period_holds_both_its_days_and_must_not_end_before_it_starts() -> None:
    year = Period(date(2026, 1, 1), date(2026, 12, 31))
    assert [year.holds(day) for day in (date(2026, 1, 1), date(2026, 12, 31))] == [True, True]
    assert [year.holds(day) for day in (date(2025, 12, 31), date(2027, 1, 1))] == [False, False]
    assert (str(year), str(Period())) == ("from 2026-01-01 until 2026-12-31", "all days")
    with pytest.raises(RecordError, match=r"from 2026-02-01 ends on 2026-01-31, before it starts"):
        Period(date(2026, 2, 1), date(2026, 1, 31))
