"""What letters between clinicians say: findings with days, reasons with sources, nothing invented.

What a hand-over holds: core element 5 of Got Transition (transfer package, who answers until the
first visit there); what a letter to a clinician holds: PRSB Outpatient Letter Standard, headings
from memory.
"""

import re
from dataclasses import replace
from datetime import timedelta
from xml.etree.ElementTree import fromstring

import pytest

from rehab.care.case import Appointment, Case, Ending, EndingKind, Prescription
from rehab.demo import demo_cases
from rehab.errors import LetterError
from rehab.letters.clinical import Found, before_ending, clinical_of
from rehab.letters.facts import About, LetterFacts, facts_of
from rehab.letters.languages import language
from rehab.letters.letter import write_letter
from rehab.letters.pdf_page import Printing, pdf_of
from rehab.letters.phrases import Phrases
from tests.care.cases import child, plan_for, removal
from tests.letters.plans import CLINIC

DEMO = demo_cases()
CASES = {told.case.child.number: told.case for told in DEMO.told}
TODAY = DEMO.today
ENGLISH = language("en")
KINDS = ("clinician", "transfer", "transition")
LONGEST_SENTENCE = 20
every_kind = pytest.mark.parametrize("kind", KINDS)


def facts(case: Case, to: str = "") -> LetterFacts:
    ended = before_ending(case, TODAY)
    before = plan_for(*ended) if ended else None
    about = About(case=case, plan_before=before, to=to)
    # Old enough for each of the letters.
    return replace(facts_of(plan_for(case, TODAY), CLINIC, about), age_months=17 * 12)


def said(kind: str, case: Case, to: str = "") -> str:
    """The letter's text; a blank between blocks."""
    letter = write_letter(kind, facts(case, to), ENGLISH, ENGLISH)
    marked = re.sub(
        r"</?(?:t[dhr]|p|li|h\d|d[dt]|div)\b[^>]*>|<br/>", r" \g<0> ", letter.words[0].body
    )
    return " ".join("".join(fromstring(f"<body>{marked}</body>").itertext()).split())


def day(on: object) -> str:
    return Phrases(ENGLISH).day(on).striptags()  # type: ignore[arg-type]


def test_a_small_child_is_not_sent_to_adult_care() -> None:
    young = replace(facts(CASES["K-112"]), age_months=15)
    with pytest.raises(LetterError) as refused:
        write_letter("transition", young, ENGLISH, ENGLISH)
    assert refused.value.what == "the child is too young for adult care: younger than 12."


@every_kind
def test_operations_stand_with_eye_and_day(kind: str) -> None:
    page = said(kind, CASES["K-112"])
    for surgery in CASES["K-112"].surgeries:
        assert day(surgery.on) in page
        assert surgery.procedure in page


@every_kind
def test_each_finding_stands_with_the_day_it_was_found(kind: str) -> None:
    page = said(kind, CASES["K-112"])
    for found in (
        "fixation central, steady, not maintained Monday, 19 October 2026",
        "pressure 12 mmHg Monday, 10 August 2026",
        "refraction +4.75 Monday, 10 August 2026",
        "correction worn glasses since Thursday, 23 October 2025",
    ):
        assert found in page


@every_kind
def test_each_coming_check_stands_with_its_reason_and_its_source(kind: str) -> None:
    case = CASES["K-112"]
    page = said(kind, case)
    nearest = {(c.kind, c.eye): c for c in reversed(plan_for(case, TODAY).checks)}
    cited = 0
    for check in nearest.values():
        assert check.because.counted in page
        if check.because.source != "assumption":
            assert check.because.citation in page
            cited += 1
    assert cited >= 3


@every_kind
def test_what_is_an_assumption_is_called_one(kind: str) -> None:
    case = CASES["K-112"]
    rows = clinical_of(plan_for(case, TODAY), case, TODAY).coming
    assumed = sum(row.assumption for row in rows)
    assert assumed
    repeated = assumed if kind != "transition" else 2 * assumed
    assert said(kind, case).count("Assumption, no published source.") == repeated


@every_kind
def test_nothing_is_invented_where_nothing_was_found(kind: str) -> None:
    bare = child()
    page = said(kind, bare)
    # Two eyes, each with its lens and every sort of finding.
    rows = page.count("not recorded")
    assert rows >= 2 * (len(Found) + 1)
    assert "No occlusion is in force." in page
    assert "own lens in place" not in page
    assert "mmHg" not in page


def test_an_eye_that_nobody_looked_at_is_not_called_phakic() -> None:
    case = child(surgery=[removal("right", TODAY - timedelta(days=30))])
    right, left = clinical_of(plan_for(case, TODAY), case, TODAY).eyes
    assert (right.lens, left.lens) == ("aphakic", "unknown")


def test_findings_made_after_the_plan_are_not_in_the_letter() -> None:
    case = CASES["K-112"]
    on = case.examinations[2].on
    clinical = clinical_of(plan_for(case, on), case, on)
    days = [row.on for state in clinical.eyes for row in state.rows if row.on]
    assert days
    assert max(days) <= on
    assert {s.on for s in clinical.operations} == {s.on for s in case.surgeries if s.on <= on}


def test_the_regimen_in_force_says_eye_hours_method_since_and_by_whom() -> None:
    page = said("clinician", CASES["K-112"])
    assert "Eye covered right eye Dose 5 hours 45 minutes every day" in page
    assert "Method patch on the skin Since Monday, 23 February 2026 Agreed by S. Lindqvist" in page


def test_hours_that_have_run_out_are_not_told_on_as_agreed() -> None:
    late = next(
        case
        for case in CASES.values()
        if facts(case).home.patching == "look first" and facts(case).clinical.regimen
    )
    page = said("clinician", late)
    assert "No hours are agreed from today. A look at the eyes comes first." in page
    assert "Goes on with occlusion" not in page


def test_what_a_clinician_must_decide_and_open_flags_stand_word_for_word() -> None:
    decided = flagged = 0
    for case in CASES.values():
        plan = plan_for(case, TODAY)
        page = said("clinician", case)
        assert all(problem.what in page for problem in plan.problems)
        assert all(flag.sentence in page for flag in plan.flags)
        decided += len(plan.problems)
        flagged += len(plan.flags)
    assert decided
    assert flagged


def test_a_prescription_in_force_stands_word_for_word() -> None:
    written = Prescription("p", TODAY, TODAY, "One drop, left eye <am>", "Dr I. Vented")
    page = said("clinician", replace(CASES["K-112"], prescriptions=(written,)))
    assert "One drop, left eye <am>" in page
    assert "Dr I. Vented" in page


@every_kind
def test_a_letter_says_that_a_clinician_decides_and_whom_to_ring(kind: str) -> None:
    page = said(kind, CASES["K-119"])
    assert "The dates are a proposal made by rules. A clinician decides." in page
    assert CLINIC.phone in page
    assert CLINIC.emergency_phone in page


@every_kind
def test_whom_it_is_addressed_to_stands_or_is_left_to_fill_in(kind: str) -> None:
    assert "To: Dr A. Example" in said(kind, CASES["K-119"], "Dr A. Example")
    body = write_letter(kind, facts(CASES["K-119"]), ENGLISH, ENGLISH).words[0].body
    assert '<p class="line">To:</p>' in body


def test_a_hand_over_after_care_ended_says_what_was_due_next_and_that_it_has_passed() -> None:
    moved = CASES["K-116"]
    page = said("transfer", moved)
    assert f"Care here ended on {day(moved.ending.on)}." in page  # type: ignore[union-attr]
    assert "occlusion review, left eye: by Sunday, 4 October 2026" in page
    assert "This day has passed." in page
    assert "Please send this part back" in page


def test_a_hand_over_goes_to_the_clinic_that_the_ending_names() -> None:
    ending = Ending(EndingKind.TRANSFERRED, TODAY, receiving_clinic="Farrow Eye Unit")
    assert "To: Farrow Eye Unit" in said("transfer", replace(CASES["K-112"], ending=ending))


def test_the_course_is_told_in_the_order_of_time() -> None:
    for case in CASES.values():
        days = [event.on for event in facts(case).clinical.history]
        assert days == sorted(days)
    page = said("transfer", CASES["K-116"])
    steps = ("Operation: lens removal", "Occlusion starts:", "Occlusion ends:", "Care here ends:")
    assert sorted(steps, key=page.index) == list(steps)


def test_an_appointment_without_an_outcome_is_handed_over() -> None:
    case = CASES["K-119"]
    past, ahead = TODAY - timedelta(days=9), TODAY + timedelta(days=9)
    booked = (Appointment("a", past), Appointment("b", ahead))
    page = said("transfer", replace(case, appointments=booked))
    assert f"{day(past)}: nobody has recorded what became of it" in page
    assert f"{day(ahead)}: booked here" in page


@pytest.mark.parametrize("kind", ["transfer", "transition"])
def test_nobody_is_asked_to_take_over_a_child_that_has_died(kind: str) -> None:
    died = replace(CASES["K-112"], ending=Ending(EndingKind.DIED, TODAY))
    with pytest.raises(LetterError, match="this child has died"):
        write_letter(kind, facts(died), ENGLISH, ENGLISH)


def test_a_young_person_with_an_urgent_finding_is_asked_to_ring() -> None:
    assert [flag.urgency for flag in facts(CASES["K-119"]).clinical.flags] == ["this week"]
    page = said("transition", CASES["K-119"])
    assert "We must talk with you about a finding. Please ring us this week." in page


def test_text_that_stays_english_says_so() -> None:
    body = write_letter("clinician", facts(CASES["K-112"]), ENGLISH, ENGLISH).words[0].body
    assert '<span lang="en" dir="ltr">9 months after membrane clearance' in body


@every_kind
def test_our_own_sentences_have_at_most_twenty_words(kind: str) -> None:
    letter = write_letter(kind, facts(child()), ENGLISH, ENGLISH)
    root = fromstring(f"<body>{letter.words[0].body}</body>")
    blocks = [" ".join("".join(e.itertext()).split()) for e in root.iter() if e.tag in ("p", "li")]
    sentences = [s for block in blocks for s in re.split(r"(?<=[.?!]) ", block)]
    assert [s for s in sentences if len(s.split()) > LONGEST_SENTENCE] == []


@every_kind
def test_a_letter_of_every_demonstration_child_is_written(kind: str) -> None:
    for case in CASES.values():
        assert case.child.name in said(kind, case)


def test_each_letter_can_be_printed() -> None:
    letters = [write_letter(kind, facts(CASES["K-112"]), ENGLISH, ENGLISH) for kind in KINDS]
    assert pdf_of(letters, Printing()).startswith(b"%PDF-")
