"""A line beside what is recorded: the unknown is completed, the known is never overwritten."""

from dataclasses import replace
from datetime import date

import pytest

from rehab.care.case import (
    Appointment,
    Case,
    Cause,
    Child,
    Eye,
    Outcome,
    Procedure,
    Surgery,
    Sutures,
)
from rehab.care.contacts import Contact, Limits
from rehab.import_compare import Change, compare
from rehab.import_lines import Meaning, read_line

TODAY = date(2026, 4, 20)
BORN = date(2026, 1, 5)
REMOVAL = Surgery(
    "K-1/S1", Eye.RIGHT, date(2026, 2, 16), Procedure.LENS_REMOVAL, cause=Cause.CONGENITAL
)
RECORDED = Case(
    Child("K-1", "Badu Oro", BORN, language="sw"),
    surgeries=(REMOVAL,),
    appointments=(Appointment("K-1/A1", date(2026, 5, 4), Outcome.CANCELLED_BY_FAMILY),),
    contacts=(Contact("K-1/C1", "Ama Oro", "mother", "+00 555 0117"),),
    limits=Limits("K-1/L1", farthest_km=40),
)
PLAIN = {"number": "K-1", "name": "Badu Oro", "born": "2026-01-05"}
SAME = {
    "surgery_1_eye": "right",
    "surgery_1_on": "2026-02-16",
    "surgery_1_procedure": "lens removal",
}


def compared(more: dict[str, str]) -> tuple[tuple[Change, ...], tuple[str, ...]]:
    told = read_line({**PLAIN, **more}, Meaning(TODAY))
    assert told.problems == ()
    found = compare(RECORDED, told, TODAY)
    return found.changes, found.differences


SILENT = [
    {},
    SAME,
    {**SAME, "surgery_1_cause": "unknown"},
    {"language": "SW"},
    {"contact_name": "AMA ORO", "contact_phone": "+00 (555) 0117"},
    {"farthest_km": "40"},
    {"appointment_on": "2026-05-04"},
]


@pytest.mark.parametrize("more", SILENT)
def test_what_is_recorded_already_changes_nothing(more: dict[str, str]) -> None:
    assert compared(more) == ((), ())


COMPLETED = [
    (
        {**SAME, "surgery_1_sutures": "absorbable"},
        Change(
            "K-1/S1",
            replace(REMOVAL, sutures=Sutures.ABSORBABLE),
            "surgery of the right eye on 2026-02-16: sutures",
        ),
    ),
    (
        {"gestation_weeks": "37", "family": "oro"},
        Change(
            "K-1",
            Child("K-1", "Badu Oro", BORN, 37, "sw", family="oro"),
            "gestation_weeks, family",
        ),
    ),
    ({"weekdays": "Monday"}, Change("K-1/L1", Limits("K-1/L1", (0,), None, 40), "weekdays")),
    ({"contact_name": "Esi"}, Change("", Contact("", "Esi"), "contact Esi")),
    (
        {"appointment_on": "2026-05-05"},
        Change("", Appointment("", date(2026, 5, 5)), "appointment on 2026-05-05"),
    ),
]


@pytest.mark.parametrize(("more", "change"), COMPLETED)
def test_what_was_not_known_is_completed(more: dict[str, str], change: Change) -> None:
    assert compared(more) == ((change,), ())


DIFFERENT = [
    ({"name": "Badu O"}, "differs: name Badu Oro is recorded, Badu O in the file."),
    ({"language": "en"}, "differs: language sw is recorded, en in the file."),
    ({"farthest_km": "0"}, "differs: farthest_km 40 is recorded, 0 in the file."),
    (
        {**SAME, "surgery_1_cause": "traumatic"},
        "surgery of the right eye on 2026-02-16: differs: cause congenital is recorded, "
        "traumatic in the file.",
    ),
    (
        {"contact_name": "Ama Oro", "contact_relation": "aunt"},
        "contact Ama Oro: differs: relation mother is recorded, aunt in the file.",
    ),
]


@pytest.mark.parametrize(("more", "words"), DIFFERENT)
def test_what_is_recorded_otherwise_is_left_to_a_person(more: dict[str, str], words: str) -> None:
    assert compared(more) == ((), (words,))


def test_a_removal_of_a_lens_that_is_gone_is_a_contradiction() -> None:
    _, differences = compared({**SAME, "surgery_1_on": "2026-03-02"})
    assert differences == (
        "the right eye is aphakic since lens removal on 2026-02-16, so lens removal on 2026-03-02 "
        "cannot be. Check the eye, the date and the procedure, or correct the earlier record.",
    )
