from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from rehab.measures.dates import Step, add_months, completed_months, corrected_birth

DAYS = st.dates(date(1990, 1, 1), date(2060, 12, 31))


@given(DAYS, st.integers(-240, 240))
def test_months_are_added_as_dateutil_adds_them(anchor: date, months: int) -> None:
    """Reference library: python-dateutil, which clips to the month's end."""
    assert add_months(anchor, months) == anchor + relativedelta(months=months)


@given(DAYS, st.integers(0, 240))
def test_completed_months_undo_added_months(anchor: date, months: int) -> None:
    assert completed_months(anchor, add_months(anchor, months)) == months
    assert completed_months(anchor, add_months(anchor, months) - timedelta(days=1)) < months


@given(DAYS, st.integers(0, 3000))
def test_completed_months_never_overshoot(start: date, days: int) -> None:
    on = start + timedelta(days=days)
    months = completed_months(start, on)
    assert add_months(start, months) <= on < add_months(start, months + 1)


def test_months_are_counted_from_the_anchor_and_never_month_after_month() -> None:
    anchor = date(2026, 1, 31)
    assert [add_months(anchor, n) for n in range(4)] == [
        date(2026, 1, 31),
        date(2026, 2, 28),
        date(2026, 3, 31),
        date(2026, 4, 30),
    ]


def test_a_child_born_on_29_february_is_a_year_old_on_the_28th() -> None:
    born = date(2024, 2, 29)
    assert completed_months(born, date(2025, 2, 27)) == 11
    assert completed_months(born, date(2025, 2, 28)) == 12
    assert add_months(born, 48) == date(2028, 2, 29)


def test_a_child_born_nine_weeks_early_is_expected_nine_weeks_later() -> None:
    assert corrected_birth(date(2026, 2, 1), 31) == date(2026, 4, 5)
    assert corrected_birth(date(2026, 2, 1), 41) == date(2026, 2, 1)


@given(DAYS, st.integers(0, 2000), st.integers(1, 30), st.booleans())
def test_the_next_step_is_the_first_one_after_the_day_reached(
    anchor: date, days: int, every: int, in_months: bool
) -> None:
    step = Step(months=every) if in_months else Step(days=every)
    reached = anchor + timedelta(days=days)
    target, n = step.next_after(anchor, reached)
    assert target > reached
    assert target == step.times(n).after(anchor)
    assert n == 1 or step.times(n - 1).after(anchor) <= reached


@pytest.mark.parametrize(
    ("step", "said"),
    [
        (Step(months=1), "1 month"),
        (Step(months=3), "3 months"),
        (Step(days=1), "1 day"),
        (Step(days=7), "1 week"),
        (Step(days=42), "6 weeks"),
        (Step(days=10), "10 days"),
    ],
)
def test_a_step_is_said_as_a_clinician_counts_it(step: Step, said: str) -> None:
    assert str(step) == said
