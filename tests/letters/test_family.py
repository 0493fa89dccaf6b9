"""The family letter says the right eye, hours and days, in plain and kind words, or is refused."""

import re
from base64 import b64decode
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from rehab.care.case import CheckKind, Eye, Method
from rehab.care.checks import Status
from rehab.care.plan import Plan
from rehab.care.problems import ProblemKind
from rehab.care.visits import Visit
from rehab.errors import LetterError
from rehab.letters.home import VISITS_SHOWN
from rehab.settings import Clinic
from tests.letters.plans import (
    CHILD,
    CLINIC,
    check,
    day,
    letter_page,
    plan,
    problem,
    span,
    visit,
    whole_plan,
)

GOLDEN = Path(__file__).parent / "golden" / "family.html"
VOID = {"meta", "br", "img"}
INLINE = {"b", "span", "time", "br", "bdi", "a"}
UNSEEN = {"style"}
BLAME = (
    "failed",
    "fault",
    "missed",
    "did not",
    "non-compliant",
    "compliance",
    "neglect",
    "not brought",
    "refus",
)


class Page(HTMLParser):
    """A page as blocks of visible text; refuses tags that do not close in order."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.blocks: list[str] = [""]
        self.feed(html)
        self.close()
        assert self.open == [], f"left open: {self.open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append(tag)
        self._mark(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._mark(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag
        self._mark(tag)

    def handle_data(self, data: str) -> None:
        if not UNSEEN.intersection(self.open):
            self.blocks[-1] += data

    def _mark(self, tag: str) -> None:
        self.blocks[-1] += " "
        if tag not in INLINE:
            self.blocks.append("")


def text(html: str) -> str:
    """What can be read, with one blank between words and one line for each block."""
    blocks = (re.sub(r"\s+", " ", block).strip() for block in Page(html).blocks)
    joined = "\n".join(block for block in blocks if block)
    return re.sub(r" ([.,:”])", r"\1", joined)


def sentences(html: str) -> list[str]:
    return [s for line in text(html).splitlines() for s in re.split(r"(?<=[.!?।۔؟])\s+", line)]


def letter(plan: Plan, clinic: Clinic = CLINIC) -> str:
    return text(letter_page(plan, clinic))


def every_kind() -> Plan:
    return plan(
        *(visit(n * 9 + 5, check(k, n * 9 + 5), booked=True) for n, k in enumerate(CheckKind))
    )


OVERDUE = plan(
    visit(2, check(CheckKind.PRESSURE, 2, status=Status.OVERDUE)),
    visit(9, check(CheckKind.REVIEW, 9, status=Status.OVERDUE), booked=True),
)
PROPOSED = plan(
    visit(30, check(CheckKind.OCCLUSION, 30)), occlusion=(span(0, 90, 155, accepted=False),)
)
LOOK_FIRST = plan(
    visit(3, check(CheckKind.OCCLUSION, -20, status=Status.OVERDUE)),
    occlusion=(span(-60, 90, 155),),
)
BOTH_WAYS = plan(
    visit(30, check(CheckKind.OCCLUSION, 30)),
    occlusion=(
        span(2, 9, 45, days_per_week=6, method=Method.CLOTH_PATCH),
        span(9, 16, 0),
        span(16, 60, 60, eye=Eye.RIGHT, days_per_week=1),
    ),
    problems=(problem(ProblemKind.REFER, "occlusion_dose"), problem(ProblemKind.DECIDE, "ending")),
    more_checks=(check(CheckKind.FUNDUS, 50),),
)
LETTERS = {
    "whole": whole_plan(),
    "every kind": every_kind(),
    "overdue": OVERDUE,
    "proposed": PROPOSED,
    "look first": LOOK_FIRST,
    "both ways": BOTH_WAYS,
    "only a problem": plan(problems=(problem(ProblemKind.REFER, "pressure_check"),)),
}
every_letter = pytest.mark.parametrize("plan", LETTERS.values(), ids=LETTERS.keys())


def test_a_whole_letter_is_as_reviewed() -> None:
    assert letter_page(whole_plan(), CLINIC) == GOLDEN.read_text(encoding="utf-8")


@every_letter
def test_a_page_is_well_formed_and_the_same_each_time(plan: Plan) -> None:
    assert Page(letter_page(plan, CLINIC)).blocks
    assert letter_page(plan, CLINIC) == letter_page(plan, CLINIC)


@every_letter
def test_no_sentence_is_longer_than_twenty_words(plan: Plan) -> None:
    long = [s for s in sentences(letter_page(plan, CLINIC)) if len(s.split()) > 20]
    assert long == []


@every_letter
def test_no_word_blames_a_family(plan: Plan) -> None:
    said = letter(plan).lower()
    assert [word for word in BLAME if word in said] == []


@every_letter
def test_no_inward_word_reaches_a_family(plan: Plan) -> None:
    said = letter(plan)
    assert "inward reason" not in said
    assert "inward step" not in said
    assert "_" not in said


@every_letter
def test_every_letter_says_when_to_ring_and_whom(plan: Plan) -> None:
    said = letter(plan)
    for sign in (
        "crying that you cannot comfort",
        "more red",
        "fluid",
        "swollen eyelid",
        "cloudy",
        "white",
        "away from light",
        "bigger than before",
        "vomiting",
        "not following",
        "flashes",
        "curtain",
        "injury",
    ):
        assert sign in said
    for number in (CLINIC.phone, CLINIC.emergency_phone, CLINIC.out_of_hours):
        assert number in said
    assert "If you cannot reach us, go to the nearest emergency department." in said


@every_letter
def test_a_page_needs_nothing_from_outside(plan: Plan) -> None:
    html = letter_page(plan, CLINIC)
    assert not re.search(r"<(link|script|iframe)\b|@import|url\(|\bhref=|\bsrc=\"(?!data:)", html)


def test_a_clinic_without_other_numbers_still_sends_a_family_somewhere() -> None:
    said = letter(whole_plan(), Clinic("Quillmoor", phone="555 0100"))
    assert "Emergency:" not in said
    assert "When we are closed:" not in said
    assert "If you cannot reach us, go to the nearest emergency department." in said


@pytest.mark.parametrize("phone", ["", "  "])
def test_a_clinic_that_cannot_be_rung_sends_no_letter(phone: str) -> None:
    with pytest.raises(LetterError) as refused:
        letter_page(whole_plan(), replace(CLINIC, phone=phone))
    assert str(refused.value) == (
        "family letter: the clinic has no telephone number, and a family must be able to ring. "
        "Set phone in the clinic file."
    )


def test_an_empty_plan_sends_no_letter() -> None:
    with pytest.raises(LetterError) as refused:
        letter_page(plan(), CLINIC)
    assert str(refused.value) == (
        "family letter of child R-0042: nothing is planned: "
        "care here has ended, or no facts are recorded. Write to the family by hand."
    )


def test_the_covered_eye_the_hours_and_the_days_are_named() -> None:
    said = letter(whole_plan())
    assert "Cover this eye: left eye. This means your child's own side." in said
    assert (
        "left eye: 2 hours 30 minutes every day\n"
        "From Sunday, 8 February 2026: left eye: 3 hours every day" in said
    )
    assert (
        "Tuesday, 3 February 2026\nSaturday, 7 February 2026\n2 hours 30 minutes every day" in said
    )
    assert "Sunday, 8 February 2026\nSaturday, 28 February 2026\n3 hours every day" in said


def test_hours_end_at_the_last_good_day_of_the_patching_check() -> None:
    said = letter(whole_plan())
    assert day(35 + 7).isoformat() == "2026-03-17"
    assert "Sunday, 1 March 2026\nTuesday, 17 March 2026\n3 hours 30 minutes every day" in said
    assert "These hours hold until Tuesday, 17 March 2026. Then we must look at the eyes" in said


@pytest.mark.parametrize(
    ("eye", "side"), [(Eye.LEFT, "right"), (Eye.RIGHT, "left")], ids=["left", "right"]
)
def test_the_drawing_shows_the_covered_eye_as_one_looks_at_the_child(eye: Eye, side: str) -> None:
    html = letter_page(plan(occlusion=(span(0, 30, 60, eye=eye),)), CLINIC)
    said = text(html)
    assert "right eye" in said.split("As you look at your child.")[0]
    drawing = re.search(
        r'<img class="face" src="data:image/svg\+xml;base64,([^"]+)" alt="(.+?)"', html
    )
    assert drawing is not None
    assert drawing[2].endswith(f"as seen by someone who looks at the child. Covered: {eye} eye")
    covered = re.search(r"right eye\n(covered\n)?left eye\n(covered\n)?", said)
    assert covered is not None
    assert covered[1 if eye is Eye.RIGHT else 2] == "covered\n"
    assert covered[2 if eye is Eye.RIGHT else 1] is None
    svg = b64decode(drawing[1]).decode()
    patch = re.search(r'<rect x="(\d+)" y="66" width="58"', svg)
    pupil = re.search(r'<circle cx="(\d+)" cy="89" r="10"', svg)
    assert patch is not None
    assert pupil is not None
    assert (int(patch[1]) > 120) is (side == "right")
    assert (int(pupil[1]) > 120) is (side == "left")


def test_an_overdue_patching_check_is_said_beside_the_hours() -> None:
    late = visit(5, check(CheckKind.OCCLUSION, 5, status=Status.OVERDUE))
    due = "The patching check is due now. Please ring us this week."
    assert due in letter(plan(late, occlusion=(span(-60, 90, 60),)))
    assert due not in letter(whole_plan())


def test_neighbouring_days_with_one_dose_are_one_row() -> None:
    said = letter(plan(occlusion=(span(-9, 4, 60), span(4, 11, 60), span(11, 18, 90))))
    assert "Tuesday, 3 February 2026\nFriday, 13 February 2026\n1 hour every day" in said
    assert (
        "Saturday, 14 February 2026\nFriday, 20 February 2026\n1 hour 30 minutes every day" in said
    )


def test_a_change_of_eye_is_said_and_each_row_names_its_eye() -> None:
    said = letter(BOTH_WAYS)
    assert "The covered eye changes." in said
    assert "left eye: 45 minutes a day, on 6 days of each week cloth patch on the glasses" in said
    assert "right eye: 1 hour a day, on 1 day of each week patch on the skin" in said
    assert "\nno patch\n" in said


def test_patching_that_starts_later_is_not_for_this_week() -> None:
    said = letter(plan(occlusion=(span(10, 30, 60),)))
    assert "Not yet\nPatching starts on Friday, 13 February 2026." in said


def test_hours_that_nobody_accepted_are_not_printed() -> None:
    said = letter(PROPOSED)
    assert "2 hours 35 minutes" not in said
    assert not re.search(r"\d (h|hour|min)", said)
    assert "We will tell you which eye to cover, and for how long." in said
    assert "left" not in said


def test_hours_past_the_patching_check_are_not_printed() -> None:
    said = letter(LOOK_FIRST)
    assert not re.search(r"\d (h|hour|min)", said)
    assert "We must look at the eyes before patching goes on." in said
    assert "Take it off for every sleep" in said


def test_a_child_without_patching_gets_no_patching_rules() -> None:
    said = letter(OVERDUE)
    assert "No patching is planned now." in said
    assert "Safe patching" not in said
    assert "the eye that you cover" not in said


def test_patching_safety_and_its_own_warning_signs_are_said() -> None:
    said = letter(whole_plan())
    for rule in ("while your child is awake", "Never leave it on overnight", "stairs", "roads"):
        assert rule in said
    assert "near water" in said
    for sign in ("double vision", "squint", "rash", "worse sight in the eye that you cover"):
        assert sign in said


def test_visits_say_the_best_day_the_window_and_whether_they_are_booked() -> None:
    said = letter(whole_plan())
    assert (
        "Tuesday, 10 February 2026 Booked\nAny clinic day from Wednesday, 4 February 2026" in said
    )
    assert "Best day: Monday, 9 March 2026 Please ring to book." in said
    assert "Any clinic day from Tuesday, 3 March 2026 to Monday, 16 March 2026." in said
    assert "Eye pressure: both eyes" in said
    assert "Our clinic days are: Monday, Tuesday, Wednesday, Thursday and Friday." in said


def test_a_booked_visit_that_no_check_needs_is_still_a_visit() -> None:
    said = letter(plan(Visit(day(9), day(9), day(9), checks=(), booked=True)))
    assert "Booked\nThis day only. Ring us if you cannot come.\nA visit that you have" in said


def test_a_window_that_has_begun_starts_today() -> None:
    said = letter(plan(visit(2, check(CheckKind.REVIEW, 2))))
    assert "Any clinic day from Tuesday, 3 February 2026 to Thursday, 12 February 2026." in said


def test_a_check_that_is_overdue_is_said_kindly() -> None:
    said = letter(OVERDUE)
    assert "A check is due now. We will find a day that suits you." in said
    assert "It is not too late. Any clinic day up to Thursday, 12 February 2026 is good." in said
    assert "Thursday, 12 February 2026\nThis visit is booked.\nPlease ring us\nA check is" in said
    assert "Please keep this day if you can." in said


def test_many_visits_are_cut_and_the_letter_says_so() -> None:
    days = range(10, 10 * (VISITS_SHOWN + 3), 10)
    visits = [visit(n, check(CheckKind.PRESSURE, n)) for n in days]
    visits[-1] = replace(visits[-1], booked=True)
    said = letter(plan(*visits))
    listed = said.split("\nNext visits\n")[1]
    assert listed.count("Best day:") == VISITS_SHOWN
    assert listed.count("Booked") == 1
    assert "More visits come later." in said
    assert "More visits come later." not in letter(whole_plan())


def test_every_kind_of_check_has_a_name_and_a_purpose_of_its_own() -> None:
    html = letter_page(every_kind(), CLINIC)
    named = re.findall(r"<dt>(.+)</dt>", html)
    told = re.findall(r"<dd>(.+)</dd>", html)
    assert len(set(named)) == len(set(told)) == len(CheckKind)


def test_a_patching_check_names_no_eye_that_could_be_read_as_the_covered_one() -> None:
    assert "\nPatching check\n" in letter(whole_plan())


def test_a_check_without_a_day_and_open_decisions_are_told_in_a_familys_words() -> None:
    said = letter(BOTH_WAYS)
    assert "Please ring us to find a day for\nBack of the eye: right eye" in said
    assert "Ask us about\npatching: whether it helps, which eye and how long" in said
    assert "the part of the plan that we must still decide with you" in said
    assert "Ask us about\nStitches check: right eye" in letter(whole_plan())


def test_a_shut_clinic_is_not_a_question_for_a_family() -> None:
    late = check(CheckKind.FUNDUS, 50)
    shut = plan(more_checks=(late,), problems=(problem(ProblemKind.SHUT, late.kind, late.eye),))
    assert "Ask us about" not in letter(shut)
    assert "Please ring us to find a day for\nBack of the eye: right eye" in letter(shut)


def test_markup_in_a_name_is_text() -> None:
    child = replace(CHILD, name="<b>Ilo</b> & 'Sons'")
    html = letter_page(replace(whole_plan(), child=child), replace(CLINIC, address="<i>1</i>"))
    assert "<b>Ilo" not in html
    assert "<i>" not in html
    assert "Eye plan for <b>Ilo</b> & 'Sons'" in text(html)
