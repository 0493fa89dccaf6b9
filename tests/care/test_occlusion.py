from datetime import date
from typing import Any

import pytest

from rehab.care.case import Eye
from rehab.care.plan import Plan, agreed_occlusion
from rehab.care.problems import ProblemKind
from tests.care.cases import child, plan_for, removal

OPERATED = date(2026, 1, 10)
CORRECTED = {
    "on": date(2026, 1, 17),
    "right": {"wears": "contact lens"},
    "left": {"cataract": "none"},
}


def infant(**more: Any) -> Any:
    return child(surgery=[removal("right", OPERATED)], **{"exam": [CORRECTED], **more})


def occlusion_rows(plan: Plan) -> list[str]:
    """The rows that answered for occlusion, whether they dose, refer or leave to a person."""
    return [p.because.row for p in plan.problems if p.because and "occlusion" in p.about]


def test_occlusion_is_proposed_for_the_fellow_eye_from_the_second_week() -> None:
    """IATS: the second week after surgery, once the correction is worn (from memory)."""
    plan = plan_for(infant(), date(2026, 1, 17))
    first = plan.occlusion[0]
    assert (first.eye, first.start, first.accepted) == (Eye.LEFT, date(2026, 1, 17), False)
    assert first.hours_per_day == 2
    waiting = [p for p in plan.problems if p.kind is ProblemKind.DECIDE]
    assert len(waiting) == 1
    assert waiting[0].do == "The orthoptist decides: rehab occlusion accept T-1."


def test_a_proposal_is_never_told_to_a_family() -> None:
    assert agreed_occlusion(plan_for(infant(), date(2026, 1, 17))) == ()


def test_occlusion_waits_for_the_correction() -> None:
    bare = {**CORRECTED, "right": {"wears": "none"}}
    assert plan_for(infant(exam=[bare]), date(2026, 1, 17)).occlusion == ()


def test_what_the_eye_wears_must_be_recorded_before_occlusion_is_proposed() -> None:
    plan = plan_for(infant(exam=[]), date(2026, 1, 17))
    assert plan.occlusion == ()
    assert "unilateral-correction-unknown" in occlusion_rows(plan)


def test_latent_nystagmus_is_for_the_orthoptist() -> None:
    seen = {**CORRECTED, "nystagmus": "latent"}
    plan = plan_for(infant(exam=[seen]), date(2026, 1, 17))
    assert plan.occlusion == ()
    assert occlusion_rows(plan) == ["latent-nystagmus"]


ACUITY_DOSES = [
    # 5-year-old with unequal sight and glasses for 20 weeks: PEDIG ATS2B and ATS2A, seen
    ("20/63", "20/25", 2.0),
    ("20/80", "20/20", 2.0),
    ("20/100", "20/20", 6.0),
    ("20/160", "20/20", 6.0),
]


@pytest.mark.parametrize(("weaker", "better", "hours"), ACUITY_DOSES)
def test_without_surgery_the_dose_follows_acuity_after_glasses(
    weaker: str, better: str, hours: float
) -> None:
    exams = [
        {"on": date(2026, 1, 5), "right": {"wears": "glasses"}},
        {
            "on": date(2026, 5, 26),
            "test": "crowded letters",
            "right": {"acuity": weaker, "wears": "glasses", "cataract": "none"},
            "left": {"acuity": better, "wears": "glasses", "cataract": "none"},
        },
    ]
    plan = plan_for(child(born=date(2021, 4, 1), exam=exams), date(2026, 5, 26), 3)
    assert [(span.eye, span.hours_per_day) for span in plan.occlusion] == [(Eye.LEFT, hours)]


def test_glasses_come_first_without_surgery() -> None:
    """PEDIG ATS5 (Ophthalmology 2006;113:904-912, seen): at least 16 weeks of glasses."""
    exams = [
        {
            "on": date(2026, 5, 26),
            "test": "crowded letters",
            "right": {"acuity": "20/80", "wears": "glasses"},
            "left": {"acuity": "20/20", "wears": "glasses"},
        }
    ]
    case = child(born=date(2021, 4, 1), exam=exams)
    assert plan_for(case, date(2026, 9, 14), 3).occlusion == ()
    assert plan_for(case, date(2026, 9, 15), 3).occlusion != ()


@pytest.mark.parametrize(
    ("right", "left", "row"),
    [
        ("central, steady, maintained", "central, steady, maintained", None),
        ("central, steady, maintained", "central, steady, not maintained", "bilateral-preference"),
        ("central, steady", "central, steady, maintained", "bilateral-unknown"),
    ],
)
def test_after_surgery_of_both_eyes_a_preferred_eye_is_for_the_orthoptist(
    right: str, left: str, row: str | None
) -> None:
    """No trial gives the hours after bilateral surgery: the tool dates and doses nothing."""
    exam = {"on": date(2026, 3, 1), "right": {"fixation": right}, "left": {"fixation": left}}
    case = child(
        surgery=[removal("right", OPERATED), removal("left", date(2026, 1, 17))], exam=[exam]
    )
    plan = plan_for(case, date(2026, 3, 1))
    assert plan.occlusion == ()
    assert occlusion_rows(plan) == ([row] if row else [])


def test_hours_by_age_end_at_the_fifth_birthday_with_a_question_to_a_person() -> None:
    """The infant aphakia trial patched to the fifth birthday (seen); acuity decides after that."""
    running = {"eye": "left", "starts": date(2030, 9, 1), "who": "an orthoptist"}
    plan = plan_for(infant(occlusion=[running]), date(2030, 9, 1), 6)
    assert plan.occlusion[-1].until == date(2030, 11, 10)
    assert occlusion_rows(plan) == ["unilateral-acuity-unknown"]


def test_agreed_hours_end_with_the_last_good_day_of_the_review() -> None:
    running = {"eye": "left", "starts": date(2026, 2, 1), "who": "an orthoptist"}
    case = infant(occlusion=[running])
    on_time = agreed_occlusion(plan_for(case, date(2026, 2, 2)))
    assert on_time[-1].until == date(2026, 3, 9)
    for late in (date(2026, 3, 20), date(2026, 6, 20)):
        assert agreed_occlusion(plan_for(case, late))[-1].until == date(2026, 3, 9)


def test_a_stopped_regimen_is_not_proposed_again_by_the_tool() -> None:
    ended = {
        "eye": "left", "starts": date(2026, 2, 1), "ends": date(2026, 4, 1), "who": "an orthoptist",
    }  # fmt: skip
    plan = plan_for(infant(occlusion=[ended]), date(2026, 4, 2))
    assert all(span.until <= date(2026, 4, 1) for span in plan.occlusion)
    assert occlusion_rows(plan) == []


def test_a_cataract_not_yet_operated_is_for_the_surgeon() -> None:
    seen = {"on": date(2026, 1, 5), "right": {"cataract": "dense"}, "left": {"cataract": "none"}}
    plan = plan_for(child(exam=[seen]), date(2026, 1, 5))
    assert plan.occlusion == ()
    assert [p.what for p in plan.problems] == [
        "The right eye has a cataract and no operation is recorded."
    ]


def test_fixed_hours_say_who_accepted_them() -> None:
    fixed = {
        "eye": "left", "starts": date(2026, 2, 1), "minutes_per_day": 150, "days_per_week": 6,
        "who": "S. Lindqvist", "why": "family asked for less",
    }  # fmt: skip
    span = plan_for(infant(occlusion=[fixed]), date(2026, 2, 2)).occlusion[0]
    assert (span.hours_per_day, span.days_per_week) == (2.5, 6)
    assert span.because.citation == "Accepted by S. Lindqvist."
    assert span.because.at == "family asked for less"
