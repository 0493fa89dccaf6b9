"""Contact lens powers: from glasses and back, by axial length, by age."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.errors import MeasureError
from rehab.measures.contact_lens import (
    AGE_SPAN_MONTHS,
    LENGTH_SPAN_HUNDREDTHS,
    TYPICAL_POWERS,
    contact_lens_for,
    expected_by_age,
    expected_by_axial_length,
    glasses_for,
    typical_power,
)
from rehab.measures.refraction import Refraction, parse_refraction, write_refraction

ROUNDED = "Each principal meridian is rounded to the nearest 0.25 D."
LEFT_ALONE = "A meridian weaker than 4.00 D is left as it is, by rule."


@pytest.mark.parametrize(
    ("glasses", "vertex_mm", "exact", "lens"),
    [
        # F / (1 - dF); +13.00 at 12 mm to +15.50 is a published worked example.
        ("+12.00", 12, 14.02, "+14.00"),
        ("+13.00", 12, 15.40, "+15.50"),
        ("+10.00", 12, 11.36, "+11.25"),
        ("+16.00", 12, 19.80, "+19.75"),
        ("-10.00", 12, -8.93, "-9.00"),
        ("+12.00", 14, 14.42, "+14.50"),
    ],
)
def test_a_contact_lens_is_told_before_and_after_rounding(
    glasses: str, vertex_mm: int, exact: float, lens: str
) -> None:
    moved = contact_lens_for(parse_refraction(glasses), vertex_mm)
    assert moved.exact_dioptres[0] == pytest.approx(exact, abs=0.005)
    assert write_refraction(moved.lens) == lens
    assert moved.notes == (ROUNDED,)


def test_a_weak_lens_is_left_alone_and_says_so() -> None:
    # The published rule: no compensation below 4.00 D; +3.00 at 12 mm would be +3.11.
    moved = contact_lens_for(parse_refraction("+3.00"), 12)
    assert moved.exact_dioptres[0] == pytest.approx(3.11, abs=0.005)
    assert moved.lens == parse_refraction("+3.00")
    assert moved.notes == (ROUNDED, LEFT_ALONE)


def test_a_contact_lens_of_32_becomes_glasses_of_23() -> None:
    # By the reverse formula, F / (1 + dF).
    moved = glasses_for(parse_refraction("+32.00"), 12)
    assert moved.exact_dioptres[0] == pytest.approx(23.12, abs=0.005)
    assert moved.lens == parse_refraction("+23.00")


def test_each_meridian_is_moved_by_itself() -> None:
    # Common practice, no source: +12.00 and +10.00 become +14.02 and +11.36.
    moved = contact_lens_for(parse_refraction("+12.00/-2.00x90"), 12)
    assert moved.exact_dioptres == pytest.approx((14.02, 11.36), abs=0.005)
    assert write_refraction(moved.lens) == "+14.00/-2.75x90"


def test_the_power_to_expect_by_axial_length() -> None:
    # Editors' choice of the American Academy of Ophthalmology on lens power in aphakic infants:
    # P = 84.4 - 3.2 x axial length, so 3.2 D for a millimetre; 18.0 mm is worked out from it.
    assert expected_by_axial_length(1800).dioptres == pytest.approx(26.8)
    step = expected_by_axial_length(1700).dioptres - expected_by_axial_length(1800).dioptres
    assert step == pytest.approx(3.2)


def test_the_mean_published_power_lies_in_the_middle_of_the_lengths() -> None:
    # The same source: 29.6 D (SD 4.4) within a month of surgery.
    shortest, longest = (expected_by_axial_length(end).dioptres for end in LENGTH_SPAN_HUNDREDTHS)
    assert 29.6 - 2 * 4.4 < longest < 29.6 < shortest < 29.6 + 2 * 4.4


@pytest.mark.parametrize(
    ("age_months", "dioptres"),
    # Rigid lenses for unilateral aphakic infants, Eye and Contact Lens: P = 31.66 - 0.62 x months.
    [(6, 27.94), (9, 26.08), (12, 24.22)],
)
def test_the_power_to_expect_by_age(age_months: int, dioptres: float) -> None:
    assert expected_by_age(age_months).dioptres == pytest.approx(dioptres)


def test_an_age_that_was_rare_in_the_series_is_said_to_be() -> None:
    assert not any("outside" in caution for caution in expected_by_age(9).cautions)
    assert any("Half of the children" in caution for caution in expected_by_age(20).cautions)


@pytest.mark.parametrize("hundredths", [1439, 1981, 2200])
def test_a_length_beyond_the_published_powers_is_refused(hundredths: int) -> None:
    with pytest.raises(MeasureError, match=r"is outside 14\.4 to 19\.8 mm"):
        expected_by_axial_length(hundredths)


@pytest.mark.parametrize("age_months", [0, 24, 60])
def test_an_age_beyond_the_published_powers_is_refused(age_months: int) -> None:
    with pytest.raises(MeasureError, match="outside 1 to 23 months"):
        expected_by_age(age_months)


@pytest.mark.parametrize(
    ("age_months", "lowest", "highest"),
    # Sclafani 2002, as reprinted in Review of Contact Lenses.
    [(0, 29, 32), (11, 29, 32), (12, 20, 26), (23, 20, 26), (24, 12, 20), (100, 12, 20)],
)
def test_the_powers_usually_worn(age_months: int, lowest: int, highest: int) -> None:
    power = typical_power(age_months)
    assert (power.lowest_dioptres, power.highest_dioptres) == (lowest, highest)


def test_the_ages_of_usual_powers_follow_each_other_and_end() -> None:
    assert [p.below_months for p in TYPICAL_POWERS[:-1]] == [
        p.from_months for p in TYPICAL_POWERS[1:]
    ]
    with pytest.raises(MeasureError, match="216 months is outside 0 to below 216"):
        typical_power(216)


@given(st.integers(*LENGTH_SPAN_HUNDREDTHS), st.integers(*LENGTH_SPAN_HUNDREDTHS))
def test_a_longer_eye_never_expects_more_power(one: int, other: int) -> None:
    shorter, longer = sorted((one, other))
    assert expected_by_axial_length(shorter).dioptres >= expected_by_axial_length(longer).dioptres


@given(st.integers(AGE_SPAN_MONTHS[0], AGE_SPAN_MONTHS[1] - 2))
def test_an_older_child_expects_less_power(age_months: int) -> None:
    assert expected_by_age(age_months).dioptres > expected_by_age(age_months + 1).dioptres


@given(st.integers(-100, 100), st.integers(-24, 0), st.integers(1, 180), st.integers(0, 16))
def test_rounding_moves_a_strong_meridian_by_an_eighth_at_most(
    sphere: int, cylinder: int, axis: int, vertex_mm: int
) -> None:
    moved = contact_lens_for(Refraction(sphere, cylinder, axis if cylinder else 0), vertex_mm)
    rounded = (
        moved.lens.sphere_quarters / 4,
        (moved.lens.sphere_quarters + moved.lens.cylinder_quarters) / 4,
    )
    for before, exact, after in zip(
        (sphere, sphere + cylinder), moved.exact_dioptres, rounded, strict=True
    ):
        if abs(before) >= 16:
            assert abs(exact - after) <= 0.125 + 1e-9
        else:
            assert after == before / 4
