"""Virtual eyes against published refractions, and what dates by forecast are worth to them."""

from datetime import timedelta
from random import Random
from statistics import mean, median

import pytest

from rehab.care.case import LensStatus
from rehab.measures.dates import add_months
from tests.benchmarks.bench_forecast import by_forecast, cohort, every, follow
from tests.care.virtual_eyes import BORN

WEEKS = timedelta(weeks=1)


def test_virtual_infants_with_an_implant_end_where_the_trial_did_at_5_years() -> None:
    # Weakley 2017, Ophthalmology 124:822: -2.53 D, 95 % confidence interval -4.05 to -1.02.
    at_5 = [eye.dioptres(add_months(BORN, 60)) for eye in cohort(LensStatus.PSEUDOPHAKIC, 2000)]
    assert -4.05 <= mean(at_5) <= -1.02


def test_virtual_aphakic_infants_end_where_the_trial_did_at_10_and_a_half_years() -> None:
    # Lambert 2021, Eye Contact Lens 47: median 10.38 D, quartiles 7.50 and 14.00 D.
    at_10 = [eye.dioptres(add_months(BORN, 126)) for eye in cohort(LensStatus.APHAKIC, 2000)]
    assert median(at_10) == pytest.approx(10.38, abs=1)


@pytest.mark.parametrize("status", [LensStatus.APHAKIC, LensStatus.PSEUDOPHAKIC])
def test_dates_by_forecast_spare_days_in_a_wrong_correction_at_no_more_visits(
    status: LensStatus,
) -> None:
    eyes = cohort(status, 150)
    fixed, dated = (
        [follow(eye, next_day, Random(number)) for number, eye in enumerate(eyes)]
        for next_day in (every(3), by_forecast(7 * WEEKS, 2 * WEEKS))
    )
    visits = [mean(row[0] for row in rows) for rows in (fixed, dated)]
    days_off = [mean(row[1] for row in rows) for rows in (fixed, dated)]
    assert visits[1] <= visits[0]
    assert days_off[1] < 0.95 * days_off[0]
