"""The published curves of axial length, at the ages at which they were published."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.measures.eye_norms import usual_axial_lengths


def lengths(age_days: int) -> dict[str, float]:
    return {one.whose: one.millimetres for one in usual_axial_lengths(age_days)}


def test_an_infant_of_26_weeks() -> None:
    # Pennie 2001, Vision Res 41:2799, worked out from its formula.
    assert lengths(26 * 7)["infants"] == pytest.approx(19.639, abs=0.0005)


@pytest.mark.parametrize(("years", "boys"), [(1.0, 20.660), (3.0, 21.620)])
def test_a_boy_by_age_and_a_girl_a_third_of_a_millimetre_less(years: float, boys: float) -> None:
    # Mutti 2018, Optom Vis Sci 95:976, worked out from its formula.
    told = lengths(round(years * 365.25))
    assert told["boys"] == pytest.approx(boys, abs=0.001)
    assert told["boys"] - told["girls"] == pytest.approx(0.346)


@pytest.mark.parametrize(
    ("age_days", "whose"),
    [
        (0, set()),
        (27, set()),
        (28, {"infants"}),
        (91, {"infants"}),
        (92, {"infants", "boys", "girls"}),
        (371, {"infants", "boys", "girls"}),
        (372, {"boys", "girls"}),
        (2374, {"boys", "girls"}),
        (2375, set()),
    ],
)
def test_a_curve_is_silent_outside_its_ages(age_days: int, whose: set[str]) -> None:
    assert lengths(age_days).keys() == whose


def test_the_two_curves_agree_to_half_a_millimetre_where_both_speak() -> None:
    for age_days in range(92, 372):
        told = lengths(age_days)
        assert told["girls"] - 0.5 <= told["infants"] <= told["boys"] + 0.5


@given(st.integers(28, 330))
def test_an_older_eye_is_never_shorter(age_days: int) -> None:
    younger, older = lengths(age_days), lengths(age_days + 1)
    assert all(older[whose] >= younger[whose] for whose in younger.keys() & older.keys())
