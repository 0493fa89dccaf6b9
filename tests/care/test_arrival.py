"""Arrival times: one child after the other, several at once where several people work."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.care.arrival import STEP_MINUTES, arrival_minute
from rehab.care.case import Appointment
from rehab.care.diary import AT_CLINIC, Session

NINE, NOON = 540, 720
ON = date(2026, 12, 7)


def session(capacity_minutes: int) -> Session:
    return Session(
        "monday@2026-12-07", "monday", "north", ON, NINE, NOON, "UTC", capacity_minutes,
        AT_CLINIC, under_anaesthesia=False, who="",
    )  # fmt: skip


def fill(held: Session, minutes: list[int]) -> list[Appointment]:
    booked: list[Appointment] = []
    for length in minutes:
        at = arrival_minute(held, booked, length)
        key = f"K-{len(booked)}/A1"
        booked.append(Appointment(key, ON, session=held.id, starts_minute=at, minutes=length))
    return booked


def times(booked: list[Appointment]) -> list[str]:
    return [f"{(a.starts_minute or 0) // 60:02}:{(a.starts_minute or 0) % 60:02}" for a in booked]


def test_one_person_sees_one_child_after_the_other() -> None:
    assert times(fill(session(180), [30, 15, 20, 30])) == ["09:00", "09:30", "09:45", "10:05"]


def test_where_two_people_work_two_children_come_at_about_the_same_time() -> None:
    assert times(fill(session(360), [30, 30, 30, 30])) == ["09:00", "09:15", "09:30", "09:45"]


def test_the_place_of_a_cancelled_visit_is_given_to_the_next() -> None:
    held = session(180)
    booked = fill(held, [30, 30, 30])
    at = arrival_minute(held, [booked[0], booked[2]], 20)
    assert at == NINE + 30


def test_when_no_gap_is_long_enough_the_last_place_is_given() -> None:
    held = session(60)
    assert arrival_minute(held, fill(held, [30, 30]), 20) == NINE + 120


@pytest.mark.parametrize("capacity", [60, 180, 400])
@given(minutes=st.lists(st.integers(5, 60), max_size=30))
def test_nobody_is_asked_to_come_outside_the_session_or_at_an_odd_minute(
    capacity: int, minutes: list[int]
) -> None:
    for appointment in fill(session(capacity), minutes):
        assert appointment.starts_minute is not None
        assert NINE <= appointment.starts_minute < NOON
        assert appointment.starts_minute % STEP_MINUTES == 0


def test_a_family_from_afar_is_not_asked_to_come_before_it_can() -> None:
    held = session(180)
    there = fill(held, [30])
    assert arrival_minute(held, there, 20, not_before=8 * 60) == NINE + 30
    assert arrival_minute(held, there, 20, not_before=10 * 60 + 7) == 10 * 60 + 10
    assert arrival_minute(held, there, 20, not_before=15 * 60) == NOON - STEP_MINUTES
