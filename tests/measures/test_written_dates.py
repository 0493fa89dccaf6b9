"""Days as people write them: read in one order that was told, never in a guessed one."""

import re
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.errors import MeasureError
from rehab.measures.written_dates import DateOrder, iso_day, orders_that_fit, read_day

DAY, MONTH, YEAR = DateOrder


@pytest.mark.parametrize(
    ("said", "order"),
    [
        ("2026-03-09", None),
        ("2026-03-09", MONTH),
        ("09/03/2026", DAY),
        ("9.3.2026", DAY),
        ("9 3 2026", DAY),
        ("9. 3. 2026", DAY),
        ("3/9/2026", MONTH),
        ("03-09-2026", MONTH),
        ("2026/3/9", YEAR),
        ("2026.03.09", YEAR),
    ],
)
def test_a_day_is_read_in_the_order_that_was_told(said: str, order: DateOrder | None) -> None:
    assert read_day(said, order) == date(2026, 3, 9)


REFUSED = [
    ("3/4/2026", None, "'3/4/2026' would be a day as day/month/year or as month/day/year: say"),
    ("13/4/2026", None, "'13/4/2026' would be a day as day/month/year: say which with --dates."),
    ("2026/4/3", None, "'2026/4/3' would be a day as year/month/day: say which"),
    ("13/13/2026", None, "'13/13/2026' is no day in any order."),
    ("13/4/2026", MONTH, "'13/4/2026' is no day in the order month/day/year."),
    ("3/4/2026", YEAR, "is no day in the order year/month/day."),
    ("29/2/2026", DAY, "is no day in the order day/month/year."),
    ("3/4/26", DAY, "'3/4/26' does not give the year in four figures."),
    ("26-04-03", None, "does not give the year in four figures."),
    ("46026", DAY, "'46026' looks like a spreadsheet's count of days"),
    ("46026.5", None, "looks like a spreadsheet's count of days"),
    ("3/4-2026", DAY, "'3/4-2026' is not year-month-day, such as 2026-03-09."),
    ("2026-02-30", DAY, "'2026-02-30' is not year-month-day"),
    ("20260305", None, "'20260305' is not year-month-day"),
    ("3 April 2026", DAY, "is not year-month-day"),
    ("2026-03-09T00:00", None, "is not year-month-day"),
    ("٣/٤/٢٠٢٦", DAY, "is not year-month-day"),
]


@pytest.mark.parametrize(("said", "order", "words"), REFUSED)
def test_what_is_no_day_in_that_order_is_refused(
    said: str, order: DateOrder | None, words: str
) -> None:
    with pytest.raises(MeasureError, match=re.escape(words)):
        read_day(said, order)


@pytest.mark.parametrize("said", ["2026-3-9", "20260309", "2026-W11-1", ""])
def test_only_the_full_form_is_year_month_day(said: str) -> None:
    with pytest.raises(MeasureError, match="is not year-month-day"):
        iso_day(said)


@given(st.dates(date(1900, 1, 1), date(2199, 12, 31)), st.sampled_from(DateOrder))
def test_every_day_written_in_an_order_is_read_back_and_fits_that_order(
    day: date, order: DateOrder
) -> None:
    numbers = {"day": day.day, "month": day.month, "year": day.year}
    said = ".".join(str(numbers[part]) for part in order.split("/"))
    assert read_day(said, order) == day
    assert order in orders_that_fit(said)
