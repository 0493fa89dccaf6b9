"""Corneal diameter and axial length as they are written."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.errors import MeasureError
from rehab.measures.eye_size import (
    parse_axial_length,
    parse_corneal_diameter,
    write_axial_length,
    write_corneal_diameter,
)

TEXTS = st.text() | st.text("0123456789., m", max_size=10)


@pytest.mark.parametrize(
    ("text", "tenths_mm"),
    [("9.8", 98), ("9.8 mm", 98), ("9,8mm", 98), ("10", 100), ("5", 50), ("16.0", 160)],
)
def test_a_corneal_diameter_is_read_in_tenths(text: str, tenths_mm: int) -> None:
    assert parse_corneal_diameter(text) == tenths_mm


@pytest.mark.parametrize(
    ("text", "hundredths_mm"),
    [("17.4", 1740), ("18.25 mm", 1825), ("12", 1200), ("32,00", 3200)],
)
def test_an_axial_length_is_read_in_hundredths(text: str, hundredths_mm: int) -> None:
    assert parse_axial_length(text) == hundredths_mm


@pytest.mark.parametrize("text", ["4.9", "16.1", "98", "0"])
def test_a_cornea_that_no_eye_has_is_refused(text: str) -> None:
    with pytest.raises(MeasureError, match=f'"{text}" is outside 5 to 16 mm'):
        parse_corneal_diameter(text)


@pytest.mark.parametrize("text", ["11.99", "32.01", "174"])
def test_an_axial_length_that_no_eye_has_is_refused(text: str) -> None:
    with pytest.raises(MeasureError, match=f'"{text}" is outside 12 to 32 mm'):
        parse_axial_length(text)


def test_what_is_finer_than_the_instrument_is_refused() -> None:
    with pytest.raises(MeasureError, match=r'"9\.85" is finer than 0\.1 mm'):
        parse_corneal_diameter("9.85")
    with pytest.raises(MeasureError, match=r'"18\.255" is finer than 0\.01 mm'):
        parse_axial_length("18.255")


@pytest.mark.parametrize("text", ["", "small", "-9.8", "9.8 cm", "9.8/10.0"])
def test_what_is_no_length_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(MeasureError) as refused:
        parse_corneal_diameter(text)
    assert str(refused.value) == (
        f'corneal diameter: "{text}" is no length in millimetres. '
        'Write millimetres from 5 to 16, for example "9.8".'
    )


@given(st.integers(50, 160), st.integers(1200, 3200))
def test_every_size_is_read_back_as_it_was_written(tenths_mm: int, hundredths_mm: int) -> None:
    assert parse_corneal_diameter(write_corneal_diameter(tenths_mm)) == tenths_mm
    assert parse_axial_length(write_axial_length(hundredths_mm)) == hundredths_mm


@given(TEXTS)
def test_any_text_is_read_or_refused(text: str) -> None:
    for parse, least, most in ((parse_corneal_diameter, 50, 160), (parse_axial_length, 1200, 3200)):
        try:
            size = parse(text)
        except MeasureError:
            continue
        assert least <= size <= most
