from datetime import date
from typing import Any

import pytest

from rehab.care.case import CheckKind, Eye
from rehab.care.flags import Urgency
from rehab.care.plan import Plan, agreed_occlusion
from tests.care.cases import child, plan_for, removal

STARTS = date(2026, 2, 1)
LOOK = date(2026, 2, 28)
BEFORE = {
    "on": STARTS,
    "test": "grating cards",
    "right": {"acuity": "1.0 cpd", "wears": "contact lens"},
    "left": {"acuity": "2.4 cpd", "cataract": "none"},
}
WELL = {
    "on": LOOK,
    "test": "grating cards",
    "right": {"acuity": "1.4 cpd"},
    "left": {"acuity": "3.4 cpd"},
}


def plan(*looks: dict[str, Any], today: date = LOOK, **regimen: Any) -> Plan:
    running = {"eye": "left", "starts": STARTS, "who": "an orthoptist", **regimen}
    return plan_for(
        child(
            surgery=[removal("right", date(2026, 1, 10))],
            exam=[BEFORE, *looks],
            occlusion=[running],
        ),
        today,
    )


def alarms(made: Plan) -> list[tuple[Eye, Urgency, date]]:
    return [
        (f.eye, f.urgency, f.on) for f in made.flags if f.because.decision == "occlusion_safety"
    ]


def test_a_look_that_finds_nothing_wrong_raises_no_alarm_and_extends_the_hours() -> None:
    made = plan(WELL)
    assert alarms(made) == []
    assert agreed_occlusion(made)[-1].until > LOOK


@pytest.mark.parametrize(
    "found",
    [
        {"double_vision": "yes"},
        {"new_squint": "yes"},
        {"skin_reaction": "yes"},
        {"left": {"acuity": "0.9 cpd"}},
    ],
    ids=["double vision", "new squint", "skin", "the covered eye is worse"],
)
def test_a_danger_sign_ends_the_agreed_hours_until_a_person_decides(found: Any) -> None:
    made = plan({**WELL, **found})
    assert alarms(made) == [(Eye.LEFT, Urgency.TODAY, LOOK)]
    assert max(span.until for span in agreed_occlusion(made)) == LOOK
    assert "No hours hold until the orthoptist decides" in made.flags[0].sentence


def test_an_alarm_stands_until_somebody_answers_it() -> None:
    squint = {**WELL, "new_squint": "yes"}
    assert alarms(plan(squint, today=date(2026, 4, 1))) == [(Eye.LEFT, Urgency.TODAY, LOOK)]
    assert alarms(plan(squint, today=date(2026, 4, 1), ends=LOOK)) == []


def test_a_look_at_one_eye_only_settles_no_review_of_occlusion() -> None:
    """Reverse amblyopia shows in the covered eye: it is looked at each time."""
    one_eye = {"on": LOOK, "test": "grating cards", "right": {"acuity": "1.4 cpd"}}
    reviews = [c.target for c in plan(one_eye).checks if c.kind is CheckKind.OCCLUSION]
    assert reviews[0] == date(2026, 3, 1)
