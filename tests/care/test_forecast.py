"""The forecast of one eye: its laws, its limits, the day it asks for, and the flag it raises."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from math import log10
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.care.case import Correction, LensStatus
from rehab.care.forecast import (
    Forecast,
    GrowthPrior,
    Observation,
    Tolerance,
    Worn,
    faster_than_expected,
    forecast,
    next_refraction,
)
from rehab.errors import MeasureError
from rehab.measures.dates import add_months
from rehab.measures.growth import (
    expected_dioptres,
    lens_dioptres_per_dioptre,
    log_age,
    to_lens_plane,
)
from rehab.rules.domain import Value
from rehab.rules.table import Outcome
from tests.care.virtual_eyes import PROTOCOL, prior

BORN = date(2023, 1, 1)
PRIOR = GrowthPrior(19.0, 9.0, "a study")
FIRST = Observation(date(2023, 4, 2), 8.0, 0.75)
GLASSES = Worn(Correction.GLASSES, 8.0)
TOLERANCE = Tolerance(1.0, 0.5)

OBSERVATIONS = st.builds(
    Observation,
    st.integers(31, 1800).map(lambda days: BORN + timedelta(days=days)),
    st.floats(-8, 25),
    st.floats(0.25, 1.5),
)
SEVERAL = st.lists(OBSERVATIONS, min_size=1, max_size=8)
LATER = st.integers(1801, 3800).map(lambda days: BORN + timedelta(days=days))


def one() -> Forecast:
    return forecast(BORN, [FIRST], PRIOR)


def test_one_refraction_is_carried_on_at_the_published_mean_rate() -> None:
    # +8.00 at 0.25 years and 19.0 D (Lambert 2016); thin-lens steps from memory.
    on = date(2028, 1, 1)
    by_formula = expected_dioptres(8.0, 19.0, 91 / 365.25, 1826 / 365.25)
    assert one().mean_dioptres(on) == pytest.approx(by_formula, abs=1e-9)
    assert one().mean_dioptres(FIRST.on) == pytest.approx(8.0)


def test_on_the_day_of_one_refraction_its_noise_is_all_that_is_unknown() -> None:
    low, high = one().band_dioptres(FIRST.on)
    # 80 % of a normal lies within 1.2816 standard deviations.
    assert (high - low) / 2 == pytest.approx(1.2816 * 0.75, rel=0.01)


def test_one_noisy_refraction_does_not_own_the_rate() -> None:
    later = Observation(date(2023, 7, 2), 9.0, 0.75)
    expected = forecast(BORN, [FIRST, later], PRIOR)
    # A line through both would say that the eye shrinks, at 16 D a unit.
    line = (to_lens_plane(8.0) - to_lens_plane(9.0)) / (log_age(0.4983) - log_age(0.2491))
    assert line == pytest.approx(-16.5, abs=0.5)
    assert 10 < expected.rate_dioptres < 19


def test_many_refractions_teach_the_eyes_own_rate() -> None:
    days = [add_months(FIRST.on, 3 * n) for n in range(17)]
    seen = [
        Observation(on, expected_dioptres(8.0, 8.0, 91 / 365.25, (on - BORN).days / 365.25), 0.5)
        for on in days
    ]
    learnt = forecast(BORN, seen, PRIOR)
    assert learnt.rate_dioptres == pytest.approx(8.0, abs=0.5)
    assert learnt.rate_deviation < 1.0


def test_the_update_is_the_textbook_one() -> None:
    # Conjugate normal: with a flat level, precision of the rate = 1/9^2 + sum w (x - mean x)^2.
    second = Observation(date(2025, 4, 2), 2.0, 0.5)
    expected = forecast(BORN, [FIRST, second], PRIOR)
    weights = [
        (seen.noise_dioptres * lens_dioptres_per_dioptre(seen.spherical_equivalent_dioptres)) ** -2
        for seen in (FIRST, second)
    ]
    apart = log10(822 / 365.25 + 0.6) - log10(91 / 365.25 + 0.6)
    harmonic = weights[0] * weights[1] / sum(weights)
    assert expected.rate_deviation**-2 == pytest.approx(9**-2 + harmonic * apart**2, rel=1e-9)
    assert expected.level_deviation**-2 == pytest.approx(sum(weights))


@given(SEVERAL, OBSERVATIONS)
def test_one_more_refraction_never_widens_what_is_believed(
    seen: list[Observation], more: Observation
) -> None:
    fewer, all_of_them = forecast(BORN, seen, PRIOR), forecast(BORN, [*seen, more], PRIOR)
    assert all_of_them.rate_deviation <= fewer.rate_deviation * (1 + 1e-9)
    assert all_of_them.level_deviation < fewer.level_deviation


@given(st.floats(12, 22), LATER, st.sampled_from([0.5, 0.8, 0.95]))
def test_the_band_holds_the_mean_and_a_surer_band_is_wider(
    first: float, on: date, level: float
) -> None:
    seen = replace(FIRST, spherical_equivalent_dioptres=first)
    expected = forecast(BORN, [seen], PRIOR)
    low, high = expected.band_dioptres(on, level)
    surer_low, surer_high = expected.band_dioptres(on, 0.99)
    assert surer_low < low < expected.mean_dioptres(on) < high < surer_high


@given(SEVERAL, LATER, st.integers(1, 30))
def test_the_band_at_the_lens_widens_with_time(
    seen: list[Observation], on: date, days: int
) -> None:
    expected = forecast(BORN, seen, PRIOR)
    sooner, later = expected.at_lens_plane(on), expected.at_lens_plane(on + timedelta(days=days))
    assert sooner.stdev < later.stdev


def test_the_band_in_glasses_widens_with_time() -> None:
    days = [add_months(FIRST.on, 6 * n) for n in range(10)]
    bands = [one().band_dioptres(on) for on in days]
    widths = [high - low for low, high in bands]
    assert widths == sorted(widths)
    assert widths[-1] > 10


@given(SEVERAL, st.randoms(use_true_random=False))
def test_the_order_of_refractions_does_not_matter(seen: list[Observation], chance: Random) -> None:
    shuffled = list(seen)
    chance.shuffle(shuffled)
    assert forecast(BORN, shuffled, PRIOR) == forecast(BORN, seen, PRIOR)


@given(SEVERAL, LATER, st.integers(-9000, 9000))
def test_moving_birth_and_all_dates_alike_changes_nothing(
    seen: list[Observation], on: date, days: int
) -> None:
    moved = timedelta(days=days)
    expected = forecast(BORN, seen, PRIOR)
    elsewhere = forecast(
        BORN + moved, [replace(found, on=found.on + moved) for found in seen], PRIOR
    )
    assert elsewhere.at_lens_plane(on + moved) == expected.at_lens_plane(on)


@given(st.floats(-5, 20), st.floats(0.25, 3), LATER)
def test_a_chance_lies_between_0_and_1_and_falls_with_the_threshold(
    worn: float, threshold: float, on: date
) -> None:
    glasses = Worn(Correction.GLASSES, worn)
    small = one().chance_off_by_more_than(on, glasses, threshold)
    large = one().chance_off_by_more_than(on, glasses, threshold + 0.25)
    assert 0 <= large <= small <= 1


def test_the_chance_is_what_lies_outside_the_band_around_what_is_worn() -> None:
    on = add_months(FIRST.on, 6)
    low, high = one().band_dioptres(on, 0.7)
    middle = Worn(Correction.GLASSES, (low + high) / 2)
    chance = one().chance_off_by_more_than(on, middle, (high - low) / 2)
    assert chance == pytest.approx(0.3)


def test_a_contact_lens_is_compared_on_the_cornea() -> None:
    aphake = forecast(BORN, [replace(FIRST, spherical_equivalent_dioptres=19.0)], PRIOR)
    # +19.00 at 12 mm is 19 / (1 - 0.012 * 19) = +24.61 on the cornea.
    lens = Worn(Correction.CONTACT_LENS, 24.61)
    glasses = Worn(Correction.GLASSES, 19.0)
    on_cornea = aphake.chance_off_by_more_than(FIRST.on, lens, 1.0)
    before_it = aphake.chance_off_by_more_than(FIRST.on, glasses, 1.0)
    # One dioptre on the cornea is (1 - 0.012 * 19) squared, 0.60 D, in glasses.
    assert before_it == pytest.approx(0.182, abs=0.005)
    assert on_cornea == pytest.approx(0.427, abs=0.005)


def test_without_correction_the_whole_refraction_is_missing() -> None:
    nothing = Worn(Correction.NONE, 0.0)
    assert one().chance_off_by_more_than(FIRST.on, nothing, 1.0) > 0.999


def test_the_next_refraction_is_the_first_day_on_which_the_chance_reaches_the_level() -> None:
    earliest, latest = FIRST.on, add_months(FIRST.on, 12)
    on = next_refraction(one(), GLASSES, TOLERANCE, earliest, latest)
    assert earliest < on < latest
    chances = [one().chance_off_by_more_than(day, GLASSES, 1.0) for day in (on - timedelta(1), on)]
    assert chances[0] < 0.5 <= chances[1]


def test_the_next_refraction_stays_in_its_window() -> None:
    soon = (FIRST.on + timedelta(days=7), FIRST.on + timedelta(days=21))
    assert next_refraction(one(), GLASSES, TOLERANCE, *soon) == soon[1]
    late = (add_months(FIRST.on, 6), add_months(FIRST.on, 8))
    assert next_refraction(one(), GLASSES, TOLERANCE, *late) == late[0]


@given(SEVERAL, st.integers(0, 120), st.integers(0, 120), st.floats(0.05, 0.95))
def test_a_stricter_level_never_comes_later(
    seen: list[Observation], after: int, width: int, chance: float
) -> None:
    expected = forecast(BORN, seen, PRIOR)
    last = max(found.on for found in seen)
    earliest = last + timedelta(days=after)
    latest = earliest + timedelta(days=width)
    strict, lax = (
        next_refraction(expected, GLASSES, Tolerance(1.0, level), earliest, latest)
        for level in (chance / 2, chance)
    )
    assert earliest <= strict <= lax <= latest


def test_where_the_model_ends_the_window_ends_the_wait() -> None:
    earliest, latest = add_months(BORN, 125), add_months(BORN, 128)
    expected = forecast(
        BORN, [Observation(add_months(BORN, n), -1.0, 0.3) for n in range(60, 120, 6)], PRIOR
    )
    never = Tolerance(10.0, 0.9)
    worn = Worn(Correction.GLASSES, -1.0)
    assert next_refraction(expected, worn, never, earliest, latest) == latest


def test_a_shift_below_the_band_asks_for_a_pressure_check() -> None:
    shift = faster_than_expected(one(), Observation(date(2023, 6, 1), 1.0, 0.75), 0.95)
    assert shift is not None
    assert shift.sentence == (
        "Refraction of +1.00 D on 2023-06-01, where +7.19 D was expected and no less than +4.85 D: "
        "the eye grows faster than its earlier refractions say, check its pressure and disc."
    )


def test_the_built_in_table_looks_at_such_a_shift_this_week() -> None:
    # From memory (high): growth out of keeping with age is a criterion of childhood glaucoma.
    answer = PROTOCOL.ask("faster_shift", BORN, {})
    assert (answer.number("band_percent"), answer.word("urgency")) == (95, "this week")
    assert not answer.because.seen


@pytest.mark.parametrize("dioptres", [12.0, 7.0, 5.5])
def test_growth_as_expected_or_slower_is_no_such_shift(dioptres: float) -> None:
    assert faster_than_expected(one(), Observation(date(2023, 6, 1), dioptres, 0.75), 0.95) is None


def test_the_shift_allows_for_the_noise_of_the_refraction_itself() -> None:
    on = date(2023, 6, 1)
    low, _ = one().band_dioptres(on, 0.95)
    assert faster_than_expected(one(), Observation(on, low - 0.1, 0.75), 0.95) is None
    assert faster_than_expected(one(), Observation(on, low - 0.1, 0.01), 0.95) is not None


NOT_YET, TOO_OLD = BORN + timedelta(days=30), add_months(BORN, 126) + timedelta(days=1)


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: forecast(BORN, [], PRIOR), "no refraction of this eye since its lens was last"),
        (lambda: forecast(BORN, [replace(FIRST, on=NOT_YET)], PRIOR),
         "On 2023-01-31 a child born 2023-01-01 is outside 1 month to 10.5 years"),
        (lambda: one().mean_dioptres(TOO_OLD), "outside 1 month to 10.5 years of age"),
        (lambda: one().band_dioptres(TOO_OLD), "The fixed dates of the refraction table hold"),
        (lambda: one().chance_off_by_more_than(NOT_YET, GLASSES, 1.0), "outside 1 month to 10.5"),
        (lambda: next_refraction(one(), GLASSES, TOLERANCE, TOO_OLD, TOO_OLD), "outside 1 month"),
        (lambda: next_refraction(one(), GLASSES, TOLERANCE, TOO_OLD, FIRST.on),
         "The earliest day 2033-07-02 is after the latest 2023-04-02"),
        (lambda: forecast(BORN, [FIRST, replace(FIRST, on=date(2023, 5, 1), noise_dioptres=0.01,
                                                spherical_equivalent_dioptres=-3.0)],
                          PRIOR).band_dioptres(date(2033, 1, 1)),
         "By 2033-01-01 the forecast leaves -40.00 to +40.00 D. Check the refractions"),
        (lambda: replace(FIRST, spherical_equivalent_dioptres=41.0), "+41.00 D is outside -40.00"),
        (lambda: replace(FIRST, noise_dioptres=0.0), "A noise of 0 D is not above 0 to 5 D"),
        (lambda: Worn(Correction.UNKNOWN, 8.0), "What the eye wears is unknown. Record what"),
        (lambda: Worn(Correction.NONE, 8.0), "No correction cannot have +8.00 D"),
        (lambda: Worn(Correction.GLASSES, -41.0), "-41.00 D is outside -40.00 to +40.00 D"),
        (lambda: Tolerance(0.0, 0.5), "A threshold of 0 D at a chance of 0.5 is not above 0"),
        (lambda: Tolerance(1.0, 1.0), "a chance between 0 and 1"),
    ],
)  # fmt: skip
def test_beyond_its_limits_the_forecast_refuses_and_says_why(
    ask: Callable[[], object], words: str
) -> None:
    with pytest.raises(MeasureError) as refused:
        ask()
    assert words in str(refused.value)
    assert str(refused.value).startswith("refraction forecast: ")


def test_the_model_holds_on_its_first_and_last_day() -> None:
    first, last = add_months(BORN, 1), add_months(BORN, 126)
    expected = forecast(BORN, [Observation(first, 8.0, 0.75)], PRIOR)
    low, high = expected.band_dioptres(last)
    assert low < expected.mean_dioptres(last) < high


def test_the_built_in_prior_is_the_published_one() -> None:
    # McClatchey 2021, J Cataract Refract Surg 47:512: 17.7 (6.2) and 16.7 (6.2) D, to 10 years.
    aphakic, pseudophakic = prior(LensStatus.APHAKIC), prior(LensStatus.PSEUDOPHAKIC)
    assert (aphakic.rate_dioptres, aphakic.deviation_dioptres) == (17.7, 6.2)
    assert (pseudophakic.rate_dioptres, pseudophakic.deviation_dioptres) == (16.7, 6.2)
    assert "McClatchey" in aphakic.source


@pytest.mark.parametrize("status", ["aphakic", "pseudophakic"])
@pytest.mark.parametrize("days", [27, 210, 3000])
def test_no_rate_is_invented_for_surgery_outside_the_trials_ages(status: str, days: int) -> None:
    facts: dict[str, Value] = {"lens_status": status, "age_at_surgery_days": days}
    assert PROTOCOL.ask("refraction_growth", BORN, facts).outcome is Outcome.REFER
