"""The 80 % band holds the truth of virtual eyes four times in five, however much is known."""

from collections.abc import Callable
from datetime import timedelta
from random import Random

import pytest

from rehab.care.case import LensStatus
from rehab.care.forecast import forecast
from rehab.measures.dates import add_months
from tests.care.virtual_eyes import BORN, VirtualEye, prior, virtual_eye

EYES = 2000


def share_inside(
    refractions: int,
    seed: int,
    draw: Callable[[LensStatus, Random], VirtualEye] = virtual_eye,
    noise_factor: float = 1.0,
) -> float:
    """The share of later truths, 1 to 24 months ahead, inside the band of `refractions`."""
    random = Random(seed)
    inside = 0
    for number in range(EYES):
        status = (LensStatus.APHAKIC, LensStatus.PSEUDOPHAKIC)[number % 2]
        eye = draw(status, random)
        days = [add_months(eye.start, 3 * n) for n in range(refractions)]
        seen = [eye.refract(on, random, noise_factor) for on in days]
        later = days[-1] + timedelta(days=random.randint(30, 730))
        low, high = forecast(BORN, seen, prior(status)).band_dioptres(later)
        inside += low <= eye.dioptres(later) <= high
    return inside / EYES


@pytest.mark.parametrize("refractions", [1, 2, 4])
def test_the_80_percent_band_holds_the_later_truth_in_78_to_82_percent(refractions: int) -> None:
    assert 0.78 <= share_inside(refractions, seed=1) <= 0.82
