"""An appointment letter says day, time, place, length and purpose of booked visits."""

from dataclasses import replace

import pytest

from rehab.care.case import Appointment, CheckKind
from rehab.care.diary import Site
from rehab.care.plan import Plan
from rehab.errors import LetterError
from rehab.letters.facts import About
from tests.letters.plans import check, day, letter_page, plan, visit, whole_plan
from tests.letters.test_family import text

HALL = Site("n", "Northern school hall", "7 Quay Street, Sedgeby")


def appointment(plan: Plan, about: About | None = None) -> str:
    return text(letter_page(plan, kind="appointment", about=about))


def booked(kind: CheckKind, days: int = 7) -> Plan:
    at = Appointment("a1", day(days), session="s-1", starts_minute=9 * 60 + 40, minutes=75)
    return plan(replace(visit(days, check(kind, days), booked=True), appointment=at))


def test_a_booked_visit_is_told_with_day_time_length_place_and_purpose() -> None:
    said = appointment(booked(CheckKind.PRESSURE), About(places={"s-1": HALL}))
    assert "Tuesday, 10 February 2026\nTime: 09:40\nPlanned length: 1 hour 15 minutes" in said
    assert "Northern school hall\n7 Quay Street, Sedgeby" in said
    assert "What we do\nEye pressure: right eye" in said
    assert "We look for high pressure" in said


def test_a_visit_outside_the_diary_is_at_the_clinic_and_its_time_is_asked_for() -> None:
    said = appointment(whole_plan())
    assert "Tuesday, 10 February 2026\nPlease ring us to ask for the time." in said
    assert "Place\nQuillmoor Children's Eye Clinic\n2 Lantern Row, Quillmoor" in said
    assert "Planned length" not in said


def test_only_booked_visits_are_told() -> None:
    said = appointment(whole_plan())
    assert "Lens strength" not in said
    assert "9 March 2026" not in said


def test_it_says_what_to_bring_and_what_to_do_if_the_day_does_not_suit() -> None:
    said = appointment(whole_plan())
    assert "Please bring glasses, contact lenses, eye drops and this letter." in said
    assert "If this day does not suit you, please ring us." in said
    assert "Ring us now if you see" in said


def test_before_an_examination_under_anaesthesia_a_family_asks_when_to_stop_food() -> None:
    said = appointment(booked(CheckKind.ANAESTHESIA))
    assert "Before the exam while asleep\nAsk us when to stop food and drink." in said
    assert "food and drink" not in appointment(booked(CheckKind.PRESSURE))


def test_without_a_booked_visit_there_is_no_appointment_letter() -> None:
    with pytest.raises(LetterError) as refused:
        appointment(plan(visit(20, check(CheckKind.PRESSURE, 20))))
    assert str(refused.value) == (
        "appointment letter of child R-0042: no visit is booked. "
        "Book one, or write a family letter."
    )
