"""Pressure as it is written, with or without its unit and instrument."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.errors import MeasureError
from rehab.measures.pressure import Pressure, parse_pressure, write_pressure


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("18", Pressure(18)),
        ("18 mmHg", Pressure(18)),
        ("18mmhg", Pressure(18)),
        ("18 mm Hg rebound tonometer", Pressure(18, "rebound tonometer")),
        ("21, applanation", Pressure(21, "applanation")),
        ("0", Pressure(0)),
        ("80", Pressure(80)),
    ],
)
def test_a_pressure_is_a_whole_number_and_what_measured_it(text: str, expected: Pressure) -> None:
    assert parse_pressure(text) == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("-5", '"-5" is not one whole number of mmHg'),
        ("18.5", '"18.5" is not one whole number of mmHg'),
        ("18 20", "not one whole number"),
        ("soft", 'Write a whole number, for example "18"'),
        ("", "not one whole number"),
        ("81", "81 mmHg is outside 0 to 80 mmHg"),
    ],
)
def test_what_is_no_pressure_is_refused_with_an_example(text: str, words: str) -> None:
    with pytest.raises(MeasureError) as refused:
        parse_pressure(text)
    assert words in str(refused.value)


def test_a_pressure_outside_the_range_cannot_be_made() -> None:
    with pytest.raises(MeasureError, match="outside 0 to 80"):
        Pressure(-1)


@given(st.text() | st.text("0123456789 mhgreboundtonometer,", max_size=30))
def test_any_text_is_read_back_as_written_or_refused(text: str) -> None:
    try:
        pressure = parse_pressure(text)
    except MeasureError:
        return
    assert parse_pressure(write_pressure(pressure)) == pressure
