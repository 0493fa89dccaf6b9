"""Times of day are read as they are written, and nothing else is."""

import pytest

from rehab.errors import MeasureError
from rehab.measures.clock import MINUTES_PER_DAY, clock, read_clock, read_minutes


def test_every_minute_of_a_day_is_read_as_it_is_written() -> None:
    for minute in range(MINUTES_PER_DAY):
        assert read_clock(clock(minute)) == minute


def test_a_day_ends_at_twenty_four() -> None:
    assert clock(MINUTES_PER_DAY) == "24:00"


@pytest.mark.parametrize(("said", "minute"), [("9:05", 545), ("09:05", 545), ("09:05:00", 545)])
def test_a_spreadsheet_may_add_seconds_or_leave_out_a_nought(said: str, minute: int) -> None:
    assert read_clock(said) == minute


@pytest.mark.parametrize(
    "said", ["", "9", "9h30", "9am", "24:00", "12:60", "9:5", "-1:00", "09:05:30", "٠٩:٠٥", " 9:05"]
)
def test_nothing_else_is_taken_for_a_time(said: str) -> None:
    with pytest.raises(MeasureError, match=r"is no time of day, such as 10:00\."):
        read_clock(said)


def test_minutes_are_whole_and_few_enough_to_be_meant() -> None:
    assert [read_minutes(said) for said in ("0", "90", "999999")] == [0, 90, 999_999]
    for said in ("", "-5", "1.5", "1h30", "٩٠", "1000000"):
        with pytest.raises(MeasureError, match=r"is not whole minutes, such as 90\."):
            read_minutes(said)
