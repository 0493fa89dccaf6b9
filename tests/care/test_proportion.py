"""A share with its Wilson interval: against a statistics library and published figures."""

import pytest
from scipy.stats import binomtest

from rehab.care.proportion import TOO_FEW, Share


def test_the_interval_is_the_librarys_for_every_share_of_up_to_sixty() -> None:
    for total in range(1, 61):
        for count in range(total + 1):
            wanted = binomtest(count, total).proportion_ci(method="wilson")
            assert Share(count, total).interval == pytest.approx(
                (100 * wanted.low, 100 * wanted.high), abs=1e-9
            )


@pytest.mark.parametrize(
    ("count", "total", "low", "high"),
    # Newcombe RG, Statistics in Medicine 1998;17:857-872, the score method; from memory.
    [(81, 263, 25.53, 36.62), (15, 148, 6.24, 16.05), (0, 20, 0.0, 16.11), (1, 29, 0.61, 17.18)],
)
def test_the_interval_is_as_published(count: int, total: int, low: float, high: float) -> None:
    assert Share(count, total).interval == pytest.approx((low, high), abs=0.005)


def test_of_nobody_there_is_no_percentage() -> None:
    assert (Share(0, 0).percent, Share(0, 0).interval) == (None, None)


def test_a_figure_of_four_is_too_few_and_of_five_is_not() -> None:
    assert (Share(3, 4).caution, Share(3, 5).caution) == (TOO_FEW, "")
    assert Share(3, 4).percent == 75.0, "the percentage is shown all the same"
