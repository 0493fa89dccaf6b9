"""After a child was not brought to a visit, its family is asked what would help, never blamed."""

from dataclasses import replace

import pytest

from rehab.care.case import Appointment, Case, CheckKind, Examination, Outcome
from rehab.care.checks import Status
from rehab.care.plan import Plan
from rehab.errors import LetterError
from rehab.letters.attendance import not_brought_on
from rehab.letters.facts import About
from tests.letters.plans import (
    CLINIC,
    TODAY,
    check,
    day,
    known_case,
    letter_page,
    plan,
    span,
    visit,
    whole_plan,
)
from tests.letters.test_family import BLAME, LOOK_FIRST, text

CASE = known_case()
OVERDUE = plan(visit(2, check(CheckKind.PRESSURE, 2, status=Status.OVERDUE)))


def not_brought(plan: Plan, case: Case = CASE) -> str:
    return text(letter_page(plan, kind="not-brought", about=About(case=case)))


def test_it_is_kind_and_says_the_day_and_the_new_one() -> None:
    said = not_brought(whole_plan())
    assert "We were sorry not to see Ilo Marrow on Wednesday, 28 January 2026." in said
    assert "We know that coming can be hard." in said
    assert "Next visit\nTuesday, 10 February 2026" in said
    assert "This visit is booked." in said


@pytest.mark.parametrize("told", [whole_plan(), OVERDUE, LOOK_FIRST])
def test_no_word_blames_and_every_letter_asks_what_would_help(told: Plan) -> None:
    said = not_brought(told)
    assert [word for word in BLAME if word in said.lower()] == []
    assert "travel, money, work, the weather" in said
    assert "We can also look for a place nearer to you." in said
    assert "Ring us now if you see" in said


def test_without_a_booked_visit_a_family_is_asked_to_ring() -> None:
    said = not_brought(OVERDUE)
    assert f"Please ring us: {CLINIC.phone}" in said
    assert "A check is due now. We will find a day that suits you." in said
    assert "This visit is booked." not in said


def test_a_check_that_is_due_before_the_booked_visit_is_not_hidden_by_it() -> None:
    later = visit(30, check(CheckKind.REFRACTION, 30), booked=True)
    said = not_brought(plan(*OVERDUE.visits, later))
    assert "Thursday, 5 March 2026" in said
    assert f"Please ring us: {CLINIC.phone}. A check is due now." in said


def test_it_says_why_what_is_due_matters() -> None:
    assert "Eye pressure: right eye\nWe look for high pressure" in not_brought(OVERDUE)


def test_hours_that_hold_are_told_and_else_to_ring_first() -> None:
    agreed = not_brought(whole_plan())
    assert "left eye: 2 hours 30 minutes every day" in agreed
    assert "These hours hold until Tuesday, 17 March 2026." in agreed
    look_first = not_brought(LOOK_FIRST)
    assert "Ring us first.\nNo patching hours are agreed from today." in look_first
    assert "every day" not in look_first
    proposed = plan(*OVERDUE.visits, occlusion=(span(0, 60, 120, accepted=False),))
    assert "2 hours" not in not_brought(proposed)


def case_with(*outcomes: tuple[int, Outcome], seen: int | None = None) -> Case:
    visits = tuple(Appointment(f"a{n}", day(on), what) for n, (on, what) in enumerate(outcomes))
    seen_on = () if seen is None else (Examination("e1", day(seen)),)
    return replace(CASE, appointments=visits, examinations=seen_on)


@pytest.mark.parametrize(
    ("case", "on"),
    [
        (case_with((-9, Outcome.WAS_NOT_BROUGHT), (-3, Outcome.WAS_NOT_BROUGHT)), -3),
        (case_with((-9, Outcome.ATTENDED), (-3, Outcome.WAS_NOT_BROUGHT)), -3),
        (case_with((-9, Outcome.WAS_NOT_BROUGHT), (-3, Outcome.CANCELLED_BY_CLINIC)), -9),
        (case_with((-9, Outcome.WAS_NOT_BROUGHT), (-3, Outcome.ATTENDED)), None),
        (case_with((-9, Outcome.WAS_NOT_BROUGHT), seen=-9), None),
        (case_with((-9, Outcome.WAS_NOT_BROUGHT), seen=-10), -9),
        (case_with((-9, Outcome.WAS_NOT_BROUGHT), (3, Outcome.BOOKED)), -9),
        (case_with((3, Outcome.WAS_NOT_BROUGHT)), None),
        (case_with(), None),
    ],
)
def test_the_day_is_that_of_the_last_such_visit_unless_the_child_was_seen_since(
    case: Case, on: int | None
) -> None:
    assert not_brought_on(case, TODAY) == (None if on is None else day(on))


def test_a_child_that_was_seen_since_has_no_such_letter() -> None:
    with pytest.raises(LetterError) as refused:
        not_brought(whole_plan(), case_with((-9, Outcome.WAS_NOT_BROUGHT), (-3, Outcome.ATTENDED)))
    assert str(refused.value) == (
        "not-brought letter of child R-0042: the child was not awaited in vain, or was seen since. "
        "Record what became of the visit, or write a family letter."
    )


def test_a_child_without_a_plan_has_no_such_letter() -> None:
    with pytest.raises(LetterError, match="nothing is planned"):
        not_brought(plan())
