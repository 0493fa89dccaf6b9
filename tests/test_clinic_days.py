"""Which days plans may use: the diary's between its first and last session, else the file's."""

from dataclasses import replace
from datetime import date

from rehab.care.case import Appointment
from rehab.care.diary import ASLEEP, Closure, Diary, Holiday, SessionPattern, Site
from rehab.clinic_days import ClinicDays, clinic_days, with_closed_days
from rehab.session_dates import sessions, why_shut
from rehab.settings import Clinic, open_days

CLINIC = Clinic("Harbour Eye Clinic", closed=(date(2026, 12, 25),))
NORTH = Site("north", "North Clinic", country="IE")
THURSDAYS = SessionPattern(
    "thursdays", "north", date(2026, 12, 10), 540, 780, 240, "FREQ=WEEKLY;BYDAY=TH",
    last=date(2026, 12, 24),
)  # fmt: skip
THEATRE = SessionPattern(
    "theatre", "north", date(2026, 12, 18), 480, 720, 120, kinds=ASLEEP, under_anaesthesia=True
)
START, UNTIL = date(2026, 12, 7), date(2027, 1, 4)


def december(diary: Diary, clinic: Clinic = CLINIC) -> list[int]:
    found = clinic_days(diary, clinic, START, UNTIL).open_days
    return [on.day for on in found if on.month == 12]


def test_an_empty_diary_leaves_the_days_of_the_clinic_file() -> None:
    expected = ClinicDays(open_days(CLINIC, START, UNTIL))
    assert clinic_days(Diary(), CLINIC, START, UNTIL) == expected


def test_between_its_first_and_last_session_the_diary_alone_decides() -> None:
    diary = Diary((NORTH,), (THURSDAYS,))
    assert december(diary) == [7, 8, 9, 10, 17, 24, 28, 29, 30, 31]


def test_a_session_on_a_day_that_the_file_does_not_open_is_open() -> None:
    saturday = replace(THURSDAYS, rule="", first=date(2026, 12, 12), last=None)
    assert 12 in december(Diary((NORTH,), (saturday,)))


def test_a_day_that_the_file_closes_is_shut_for_every_session() -> None:
    fridays = replace(THURSDAYS, rule="FREQ=WEEKLY;BYDAY=FR", first=date(2026, 12, 11), last=None)
    lists = replace(THEATRE, first=date(2026, 12, 25))
    found = clinic_days(Diary((NORTH,), (fridays, lists)), CLINIC, START, UNTIL)
    assert date(2026, 12, 25) not in found.open_days
    assert found.lists == ()


def test_closures_and_holidays_of_the_whole_clinic_shut_the_days_of_the_file_too() -> None:
    away = Closure("away", date(2026, 12, 8), date(2026, 12, 10), "congress")
    one_site = Closure("roof", date(2026, 12, 10), date(2026, 12, 11), "roof", site="north")
    feast = Holiday("IE", "", date(2026, 12, 28), "a feast")
    diary = Diary((NORTH,), (), (away, one_site), (feast,))
    assert december(diary) == [7, 10, 11, 14, 15, 16, 17, 18, 21, 22, 23, 24, 29, 30, 31]


def test_lists_are_days_of_their_own_and_leave_the_clinic_as_it_is() -> None:
    diary = Diary((NORTH,), (THEATRE,))
    found = clinic_days(diary, CLINIC, START, UNTIL)
    assert found == ClinicDays(open_days(CLINIC, START, UNTIL), sessions(diary, START, UNTIL))
    with_clinic = clinic_days(Diary((NORTH,), (THEATRE, THURSDAYS)), CLINIC, START, UNTIL)
    assert date(2026, 12, 18) not in with_clinic.open_days


def test_a_booked_day_that_the_file_closes_cannot_be_kept() -> None:
    booked = Appointment("A1", date(2026, 12, 25))
    whole = with_closed_days(Diary(), CLINIC)
    assert why_shut(whole, booked) == "closed by the clinic file"
    assert why_shut(whole, replace(booked, on=date(2026, 12, 24))) == ""
