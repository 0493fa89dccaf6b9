from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.care.case import CheckKind, Eye
from rehab.care.checks import Status
from rehab.care.problems import ProblemKind
from tests.care.cases import BORN, child, plan_for, removal

OPERATED = date(2026, 1, 10)
KINDS = [kind for kind in CheckKind if kind is not CheckKind.OCCLUSION]


def of(plan: Any, kind: CheckKind) -> list[Any]:
    return [check for check in plan.checks if check.kind is kind]


def test_a_child_without_surgery_has_no_checks_after_surgery() -> None:
    assert plan_for(child(), date(2026, 2, 1)).checks == ()


def test_what_was_done_is_not_asked_for_again() -> None:
    seen = {"on": date(2026, 2, 9), "right": {"pressure": "12"}}
    plan = plan_for(child(surgery=[removal("right", OPERATED)], exam=[seen]), date(2026, 2, 9))
    assert of(plan, CheckKind.PRESSURE)[0].target == date(2026, 4, 10)


def test_pressure_that_could_not_be_read_stays_overdue() -> None:
    seen = {"on": date(2026, 2, 10), "right": {"visual_axis": "clear"}}
    plan = plan_for(child(surgery=[removal("right", OPERATED)], exam=[seen]), date(2026, 2, 20))
    pressure = of(plan, CheckKind.PRESSURE)[0]
    assert (pressure.status, pressure.target) == (Status.OVERDUE, date(2026, 1, 17))
    assert pressure.by == date(2026, 2, 27)
    assert of(plan, CheckKind.VISUAL_AXIS)[0].target == date(2026, 4, 10)


def test_an_examination_before_the_window_opens_does_not_settle_the_check() -> None:
    seen = {"on": date(2026, 3, 20), "right": {"visual_axis": "clear"}}
    plan = plan_for(child(surgery=[removal("right", OPERATED)], exam=[seen]), date(2026, 3, 21))
    assert of(plan, CheckKind.VISUAL_AXIS)[0].target == date(2026, 4, 10)


def test_both_eyes_operated_a_week_apart_share_their_trips() -> None:
    case = child(surgery=[removal("right", OPERATED), removal("left", date(2026, 1, 17))])
    plan = plan_for(case, date(2026, 2, 25))
    quarter = next(v for v in plan.visits if v.on >= date(2026, 3, 27))
    assert {check.eye for check in quarter.checks} == set(Eye)


def test_a_contact_lens_is_reviewed_only_where_one_is_worn() -> None:
    worn = {"on": date(2026, 1, 17), "right": {"wears": "contact lens"}}
    case = child(surgery=[removal("right", OPERATED)], exam=[worn])
    assert of(plan_for(case, date(2026, 1, 18)), CheckKind.CONTACT_LENS)[0].target == date(
        2026, 1, 24
    )
    glasses = {"on": date(2026, 2, 1), "right": {"wears": "glasses"}}
    changed = child(surgery=[removal("right", OPERATED)], exam=[worn, glasses])
    assert of(plan_for(changed, date(2026, 2, 1)), CheckKind.CONTACT_LENS) == []


@pytest.mark.parametrize(
    ("cataract", "answer"),
    [
        ("dense", date(2026, 1, 17)),
        ("partial", "the surgeon decides whether and when"),
        ("none", None),
    ],
)
def test_the_second_eye_is_planned_by_what_its_lens_shows(cataract: str, answer: Any) -> None:
    seen = {"on": date(2026, 1, 11), "left": {"cataract": cataract}}
    plan = plan_for(child(surgery=[removal("right", OPERATED)], exam=[seen]), date(2026, 1, 11))
    planned = [check.target for check in of(plan, CheckKind.SECOND_EYE)]
    referred = [p.what for p in plan.problems if p.about == CheckKind.SECOND_EYE]
    assert planned == ([answer] if isinstance(answer, date) else [])
    assert bool(referred) == isinstance(answer, str)
    assert all(answer in what for what in referred)


def test_sutures_nobody_recorded_are_referred_and_not_dated() -> None:
    plan = plan_for(child(surgery=[removal("right", OPERATED, sutures="unknown")]), OPERATED)
    assert of(plan, CheckKind.SUTURES) == []
    problem = next(p for p in plan.problems if p.about == CheckKind.SUTURES)
    assert problem.kind is ProblemKind.REFER
    assert problem.because is not None
    assert problem.because.row == "unknown"


def test_after_occlusion_has_ended_acuity_is_watched_at_13_26_and_52_weeks() -> None:
    """PEDIG ATS3, Arch Ophthalmol 2005;123:437-447: visits after stopping, seen."""
    ended = {
        "eye": "left", "starts": date(2026, 2, 1), "ends": date(2026, 5, 1), "who": "an orthoptist",
    }  # fmt: skip
    case = child(surgery=[removal("right", OPERATED)], occlusion=[ended])
    watched = of(plan_for(case, date(2026, 5, 1)), CheckKind.WATCH)
    weeks = [(check.target - date(2026, 5, 1)).days / 7 for check in watched]
    assert weeks == [13, 26, 52]


def test_occlusion_reviews_come_closer_for_full_time_occlusion() -> None:
    """One week for each year of age (from memory): two years, two weeks."""
    born = date(2024, 1, 10)
    full = {
        "eye": "left", "starts": date(2026, 2, 1), "minutes_per_day": 660, "who": "an orthoptist",
    }  # fmt: skip
    case = child(born=born, surgery=[removal("right", OPERATED)], occlusion=[full])
    reviews = of(plan_for(case, date(2026, 2, 1), 2), CheckKind.OCCLUSION)
    assert reviews[0].target == date(2026, 2, 15)


def test_an_age_beyond_the_tables_goes_to_a_clinician() -> None:
    case = child(born=date(2008, 1, 1), surgery=[removal("right", date(2008, 3, 1))])
    plan = plan_for(case, date(2026, 6, 1))
    about = {p.about for p in plan.problems if p.kind is ProblemKind.REFER}
    assert CheckKind.REFRACTION in about


EXAM_DAYS = st.lists(st.integers(0, 700), max_size=8, unique=True)


@given(
    EXAM_DAYS, st.integers(0, 900), st.sampled_from(["lens removal", "lens removal with implant"])
)
def test_checks_hold_together_whatever_the_attendance(
    days: list[int], today_after: int, procedure: str
) -> None:
    exams = [
        {"on": OPERATED + timedelta(days=n), "right": {"pressure": "14", "refraction": "+10.00"}}
        for n in days
    ]
    today = OPERATED + timedelta(days=today_after)
    case = child(surgery=[removal("right", OPERATED, procedure=procedure)], exam=exams)
    plan = plan_for(case, today)
    keys = [check.key for check in plan.checks]
    assert len(keys) == len(set(keys))
    for kind in KINDS:
        series = [check for check in plan.checks if check.kind is kind]
        overdue = [check for check in series if check.status is Status.OVERDUE]
        assert overdue == series[: len(overdue)]
        assert len(overdue) <= 1
        targets = [check.target for check in series]
        assert targets == sorted(targets)
    for check in plan.checks:
        assert check.earliest <= check.target <= check.latest
        assert check.by >= today
        assert (check.status is Status.OVERDUE) == (check.latest < today)
        assert BORN < check.target < plan.horizon
        assert check.because.counted


def test_glasses_first_means_a_look_every_six_weeks_and_then_every_three_months() -> None:
    """MOTAS, Br J Ophthalmol 2002;86:915-919; 3-monthly from a hospital leaflet; both seen."""
    fitted = date(2026, 3, 2)
    exam = {
        "on": fitted,
        "test": "crowded letters",
        "right": {"acuity": "20/63", "wears": "glasses", "cataract": "none"},
        "left": {"acuity": "20/20", "wears": "glasses", "cataract": "none"},
    }
    case = child(born=date(2021, 4, 1), exam=[exam])
    looks = of(plan_for(case, fitted, 12), CheckKind.GLASSES)
    assert [(check.target - fitted).days for check in looks[:3]] == [42, 84, 126]
    assert looks[3].target == date(2026, 10, 6)
    assert {check.eye for check in looks} == {Eye.RIGHT}
