"""The published norms, at the ages at which they were published."""

import pytest

from rehab.measures.acuity import parse_acuity
from rehab.measures.acuity_norms import (
    Standing,
    grating_norm,
    letter_norm,
    mean_after_bilateral_surgery_hundredths,
    referral_line,
)


@pytest.mark.parametrize(
    ("age_months", "mean", "deviation"),
    # Multi-Ethnic Pediatric Eye Disease Study, ARVO abstract 2387499.
    [(30, 25, 15), (36, 25, 15), (37, 17, 14), (60, 8, 10), (72, 2, 9)],
)
def test_single_crowded_letters_by_age(age_months: int, mean: int, deviation: int) -> None:
    norm = letter_norm("single crowded letters", age_months)
    assert norm is not None
    assert (norm.mean_hundredths, norm.deviation_hundredths) == (mean, deviation)


def test_there_is_no_norm_where_none_is_cited() -> None:
    assert letter_norm("single crowded letters", 29) is None
    assert letter_norm("crowded letters", 40) is None
    assert grating_norm(0) is None
    assert grating_norm(49) is None
    assert referral_line(72) is None


@pytest.mark.parametrize(
    ("age_months", "mean"),
    # Mayer 1995, Invest Ophthalmol Vis Sci 36:671; the figures are from memory.
    [(1, 0.94), (6, 5.65), (12, 6.42), (33, 11.52), (48, 24.81)],
)
def test_grating_norm_of_the_nearest_tested_age(age_months: int, mean: float) -> None:
    norm = grating_norm(age_months)
    assert norm is not None
    assert norm.mean_cycles_per_degree == mean
    assert norm.standing is Standing.MEMORY


def test_a_child_of_40_months_who_sees_20_63_is_below_the_referral_line() -> None:
    # National Center for Children's Vision and Eye Health: 20/50 passes at 36 to 47 months.
    line, seen = referral_line(40), parse_acuity("20/63").logmar_hundredths
    assert line is not None
    assert seen is not None
    assert seen > line.poorest_pass_hundredths == parse_acuity("20/50").logmar_hundredths


@pytest.mark.parametrize(
    ("weeks", "hundredths"),
    # Birch 2009, J AAPOS 13:67, both eyes dense: 20/80 from week 14; earlier weeks are derived.
    [(4, 27), (8, 40), (14, 60), (20, 60), (31, 60), (32, None), (-1, None)],
)
def test_mean_acuity_by_week_of_surgery_of_both_eyes(weeks: int, hundredths: int | None) -> None:
    assert mean_after_bilateral_surgery_hundredths(weeks) == hundredths


def test_both_eyes_at_20_60_are_below_the_line_for_3_years() -> None:
    # American Academy of Ophthalmology, amblyopia: both eyes poorer than 20/50 at 3 years or less.
    line, seen = referral_line(36), parse_acuity("20/60").logmar_hundredths
    assert line is not None
    assert seen is not None
    assert seen > line.poorest_pass_hundredths
