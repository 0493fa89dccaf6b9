"""A school learns how to help the child, and of its eyes only what the family agreed to tell."""

from dataclasses import replace
from datetime import date

import pypdfium2
import pytest

from rehab.care.case import CheckKind, Correction, Examination, Eye, EyeFindings, Method
from rehab.care.plan import Plan
from rehab.care.problems import ProblemKind
from rehab.care.sharing import SchoolTopic, Sharing
from rehab.errors import LetterError
from rehab.letters.facts import About, facts_of
from rehab.letters.languages import language
from rehab.letters.letter import write_letter
from rehab.letters.pdf_page import Printing, pdf_of
from rehab.letters.school import worn_on
from tests.letters.plans import (
    CHILD,
    CLINIC,
    TODAY,
    check,
    day,
    known_case,
    letter_page,
    plan,
    problem,
    span,
    visit,
    whole_plan,
)
from tests.letters.test_family import LOOK_FIRST, PROPOSED, text

CASE = known_case()
ASKED = plan(problems=(problem(ProblemKind.REFER, "pressure_check"),))
TOPICS = {
    SchoolTopic.OPERATION: "The child had an eye operation.",
    SchoolTopic.SIGHT: "One eye sees less well than the other.",
}


def agreed(*topics: SchoolTopic, on: int = -9) -> About:
    return About(case=replace(CASE, sharing=Sharing("c1", day(on), topics, "Ada Marrow")))


def school(plan: Plan, about: About) -> str:
    return text(letter_page(plan, kind="school", about=about))


def test_a_school_reads_which_eye_how_long_and_until_when() -> None:
    said = school(whole_plan(), agreed())
    assert "Cover this eye: left eye. This means the child's own side." in said
    assert "Sunday, 8 February 2026\nSaturday, 28 February 2026\n3 hours every day" in said
    assert "A parent gives this letter to you." in said
    assert "It holds until Tuesday, 17 March 2026." in said
    assert "Ilo Marrow" in said


def test_hours_on_some_days_of_a_week_are_told_as_such() -> None:
    weekly = plan(occlusion=(span(0, 30, 120, days_per_week=5, method=Method.CLOTH_PATCH),))
    assert "2 hours a day, on 5 days of each week" in school(weekly, agreed())


def test_a_nursery_of_babies_reads_nothing_of_lessons_and_games() -> None:
    said = school(whole_plan(), agreed())
    assert "Offer a seat" not in said
    assert "boxing" not in said
    assert "For a red or sore eye, or one that turns away from light, ring the family" in said


def test_a_letter_that_would_hold_until_its_own_day_names_no_day() -> None:
    today = plan(visit(0, check(CheckKind.REVIEW, 0), booked=True))
    assert "It holds until" not in school(today, agreed())


def test_a_school_reads_how_to_keep_the_child_safe_and_whom_to_ring() -> None:
    older = replace(whole_plan(), child=replace(CHILD, date_of_birth=date(2021, 9, 1)))
    said = school(older, agreed())
    for advice in (
        # Common practice, no source: nobody fights with a child about a patch at school.
        "Never force it. Tell the family.",
        # Water: common practice, no source. Stairs, roads, seat: councils' advice to schools.
        "on stairs, near roads, near water and at play",
        "Offer a seat near the front.",
        # Brochure on eye safety for children after the joint policy of the American academies of
        # paediatrics and of ophthalmology, Protective Eyewear for Young Athletes, 2004.
        "polycarbonate",
        "Everyday glasses and contact lenses do not protect.",
        # From memory, the same policy: no protection suffices in these.
        "No boxing or fighting sports unless we agree.",
        "After any hit or injury to an eye, ring the family and us at once.",
        CLINIC.phone,
    ):
        assert advice in said


@pytest.mark.parametrize("about", [agreed(*TOPICS), agreed(), About(case=CASE), About()])
def test_no_school_reads_number_birth_diagnosis_or_treatment(about: About) -> None:
    page = letter_page(whole_plan(), kind="school", about=about)
    assert "r-0042" not in page.lower()
    said = text(page).lower()
    for word in (
        "born", "2025", "cataract", "lens removal", "aphakic", "surgery", "pressure", "anaesth",
        "diagnos", "visit", "drops", "problem",
    ):  # fmt: skip
        assert word not in said


@pytest.mark.parametrize("topic", TOPICS)
def test_a_topic_is_told_only_when_the_family_agreed_to_it(topic: SchoolTopic) -> None:
    (other,) = set(TOPICS) - {topic}
    told = school(whole_plan(), agreed(topic))
    assert TOPICS[topic] in told
    assert TOPICS[other] not in told
    for silent in (agreed(), About(case=CASE), agreed(topic, on=1)):
        assert TOPICS[topic] not in school(whole_plan(), silent)


def test_what_each_eye_wears_is_the_last_that_was_recorded() -> None:
    assert "right eye: contact lens\nleft eye: glasses" in school(whole_plan(), About(case=CASE))
    later = (
        EyeFindings(Eye.RIGHT, correction=Correction.GLASSES),
        EyeFindings(Eye.LEFT, correction=Correction.NONE),
    )
    changed = replace(CASE, examinations=(*CASE.examinations, Examination("e2", day(-2), later)))
    assert worn_on(changed, TODAY) == ((Eye.RIGHT, Correction.GLASSES),)
    assert worn_on(changed, day(-3)) == worn_on(CASE, TODAY)
    assert "Glasses and lenses" not in school(whole_plan(), About())


@pytest.mark.parametrize("told", [PROPOSED, LOOK_FIRST, ASKED], ids=["proposed", "look", "asked"])
def test_without_agreed_hours_a_school_is_told_to_use_no_patch(told: Plan) -> None:
    said = school(told, agreed())
    assert "Please use no patch until the family brings a new letter." in said
    assert "every day" not in said
    assert "covered" not in said


def test_a_school_letter_is_one_page_without_the_number() -> None:
    english = language("en")
    facts = facts_of(whole_plan(), CLINIC, agreed(*TOPICS))
    letter = write_letter("school", facts, english, english)
    made = pypdfium2.PdfDocument(pdf_of([letter], Printing()))
    assert len(made) == 1
    printed = made[0].get_textpage().get_text_range()
    assert "Ilo Marrow" in printed
    assert "R-0042" not in printed


def test_a_child_without_a_plan_has_no_school_letter() -> None:
    with pytest.raises(LetterError, match="school letter of child R-0042: nothing is planned"):
        school(plan(), agreed())
