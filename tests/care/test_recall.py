from datetime import date, timedelta
from typing import Any

from rehab.care.recall import Recall, recall_list
from tests.care.cases import PROTOCOL, child, plan_for, removal

OPERATED = date(2026, 1, 10)
TODAY = date(2026, 6, 1)
SEEN = {
    "on": date(2026, 5, 20),
    "right": {
        "pressure": "14",
        "refraction": "+16.00",
        "visual_axis": "clear",
        "wears": "glasses",
    },
    "left": {"cataract": "none"},
    "done": ["right=suture_review"],
}


def one(today: date = TODAY, days_ahead: int = 14, **facts: Any) -> Recall | None:
    case = child(**{"surgery": [removal("right", OPERATED)], "exam": [SEEN], **facts})
    by = today + timedelta(days=days_ahead)
    lines = recall_list([(case, plan_for(case, today))], PROTOCOL, today=today, by=by)
    return lines[0] if lines else None


def test_a_child_whose_visits_are_in_order_is_not_on_the_list() -> None:
    assert one() is None


def test_a_window_that_closes_unbooked_puts_the_child_on_the_list() -> None:
    line = one(date(2026, 7, 20))
    assert line is not None
    assert line.reasons == ("visit due by 2026-07-24, not booked",)
    assert line.urgency == 3


def test_a_booking_inside_the_window_takes_the_child_off_again() -> None:
    assert one(date(2026, 7, 20), appointment=[{"on": date(2026, 7, 22)}]) is None


def test_a_child_not_brought_twice_is_first() -> None:
    missed = [
        {"on": date(2026, 5, 25), "outcome": "was not brought"},
        {"on": date(2026, 5, 29), "outcome": "was not brought"},
    ]
    line = one(appointment=missed)
    assert line is not None
    assert line.urgency == 1
    assert line.times_not_brought == 2
    assert line.reasons[0] == "was not brought (2026-05-25, 2026-05-29)"


def test_a_visit_since_then_clears_what_was_missed_before() -> None:
    missed = [{"on": date(2026, 5, 11), "outcome": "was not brought"}]
    assert one(appointment=missed) is None


def test_overdue_checks_are_named_once_with_their_oldest_day() -> None:
    line = one(exam=[])
    assert line is not None
    overdue = line.reasons[-1]
    assert overdue.startswith("overdue since 2026-01-11: post operative review, ")
    assert overdue.count("pressure check") == 1
    assert line.days_overdue == (TODAY - date(2026, 1, 11)).days
    assert line.urgency == 1


def test_an_appointment_without_an_outcome_is_asked_about() -> None:
    line = one(appointment=[{"on": date(2026, 5, 28)}])
    assert line is not None
    assert line.reasons == ("what became of the appointment is not recorded (2026-05-28)",)


def test_a_child_with_no_visit_ahead_is_not_forgotten() -> None:
    line = one(surgery=[], exam=[])
    assert line is not None
    assert line.reasons == ("no visit ahead, and no ending recorded",)


def test_a_child_whose_care_ended_leaves_the_list() -> None:
    ended = {"kind": "moved away", "on": date(2026, 5, 1)}
    assert one(exam=[], ending=ended) is None


def test_the_list_is_the_same_in_whatever_order_the_children_come() -> None:
    cases = [
        child(number=f"T-{n}", surgery=[removal("right", OPERATED + timedelta(days=20 * n))])
        for n in range(6)
    ]
    pairs = [(case, plan_for(case, TODAY)) for case in cases]
    by = TODAY + timedelta(days=14)
    forward = recall_list(pairs, PROTOCOL, today=TODAY, by=by)
    assert forward == recall_list(pairs[::-1], PROTOCOL, today=TODAY, by=by)
    assert len(forward) == 6
    assert [line.urgency for line in forward] == sorted(line.urgency for line in forward)


def test_an_open_flag_brings_a_child_onto_the_list_with_its_own_urgency() -> None:
    high = {**SEEN, "right": {"pressure": "33", "wears": "glasses"}}
    line = one(exam=[high])
    assert line is not None
    assert line.urgency == 1
    assert "33 mmHg" in line.reasons[0]
