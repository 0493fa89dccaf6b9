"""Kaplan–Meier: against a statistics library, and against the classic worked example."""

from collections import Counter
from random import Random

import pytest
from scipy.stats import CensoredData, ecdf

from rehab.care.survival import Curve, Followed, kaplan_meier
from rehab.errors import RecordError

# Remission in weeks of children given 6-mercaptopurine; a minus means still in remission.
# Freireich EJ and others, Blood 1963;21:699-716.
REMISSION = (
    6, 6, 6, -6, 7, -9, 10, -10, -11, 13, 16, -17, -19, -20, 22, 23, -25, -32, -32, -34, -35,
)  # fmt: skip
PLACEBO = (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)


def curve(signed_days: tuple[int, ...]) -> Curve:
    return kaplan_meier(Counter(Followed(abs(d), d > 0) for d in signed_days))


@pytest.mark.parametrize(
    ("week", "at_risk", "survival", "error", "interval"),
    # Survival and standard error as R's survfit prints them, seen in public course notes;
    # the log-log interval as another statistics package prints it, from memory.
    [
        (6, 21, 0.857, 0.0764, (0.6197, 0.9516)),
        (7, 17, 0.807, 0.0869, (0.5631, 0.9228)),
        (10, 15, 0.753, 0.0963, (0.5032, 0.8894)),
        (13, 12, 0.690, 0.1068, (0.4316, 0.8491)),
        (16, 11, 0.627, 0.1141, (0.3675, 0.8049)),
        (22, 7, 0.538, 0.1282, (0.2678, 0.7468)),
        (23, 6, 0.448, 0.1346, (0.1881, 0.6801)),
    ],
)
def test_the_curve_of_the_classic_trial_is_as_published(
    week: int, at_risk: int, survival: float, error: float, interval: tuple[float, float]
) -> None:
    step = curve(REMISSION).at(week)
    assert (step.days, step.at_risk) == (week, at_risk)
    assert step.survival == pytest.approx(survival, abs=0.0006)
    assert step.standard_error == pytest.approx(error, abs=0.00006)
    assert step.interval == pytest.approx(interval, abs=0.00006)


def test_the_medians_of_the_classic_trial_are_as_published() -> None:
    # 23 weeks, from 13 on, against 8 weeks (4 to 11): log-log intervals; from memory.
    assert curve(REMISSION).quantile(0.5) == 23
    assert curve(REMISSION).quantile_interval(0.5) == (13, None)
    assert curve(PLACEBO).quantile(0.5) == 8
    assert curve(PLACEBO).quantile_interval(0.5) == (4, 11)


@pytest.mark.filterwarnings("ignore:The confidence interval is undefined")
def test_survival_and_interval_are_the_librarys_for_many_samples_with_ties() -> None:
    random = Random(20261125)
    for _ in range(400):
        longest, share = random.choice((3, 12, 60, 900)), random.random()
        sample = [
            Followed(random.randint(0, longest), random.random() < share)
            for _ in range(random.randint(1, 70))
        ]
        made = kaplan_meier(Counter(sample))
        wanted = ecdf(
            CensoredData.right_censored(
                [one.days for one in sample], [not one.happened for one in sample]
            )
        ).sf
        limits = wanted.confidence_interval(method="log-log")
        assert [step.days for step in made.steps] == list(wanted.quantiles)
        assert [s.survival for s in made.steps] == pytest.approx(wanted.probabilities, abs=1e-12)
        told = zip(made.steps, limits.low.probabilities, limits.high.probabilities, strict=True)
        for step, low, high in told:
            if step.interval is None:
                assert step.survival in (0, 1)
                assert low != low or low == high == step.survival, "the library has none either"
            else:
                assert step.interval == pytest.approx((low, high), abs=1e-9)


def test_who_leaves_on_the_day_of_an_event_was_still_at_risk() -> None:
    step = curve((5, -5, 9)).at(5)
    assert (step.at_risk, step.events, step.censored) == (3, 1, 1)
    assert step.survival == pytest.approx(2 / 3)


def test_nothing_is_lost_before_the_first_event_and_there_is_no_interval() -> None:
    step = curve((40, -50)).at(39)
    assert (step.survival, step.interval, step.at_risk) == (1.0, None, 2)


def test_whoever_is_censored_on_day_zero_changes_no_share() -> None:
    without = {Followed(3, True): 1, Followed(8, True): 1}
    made = kaplan_meier({**without, Followed(0, False): 5})
    assert (made.total, made.at(2).survival) == (7, 1.0)
    assert made.steps[1:] == kaplan_meier(without).steps


def test_an_event_on_day_zero_counts() -> None:
    made = kaplan_meier({Followed(0, True): 1, Followed(9, False): 3})
    assert made.at(0).survival == 0.75


def test_the_number_followed_is_of_those_who_reached_the_day() -> None:
    made = curve((10, -20, -20, 30))
    assert [made.at_risk(day) for day in (0, 10, 11, 20, 21, 31)] == [4, 4, 3, 3, 1, 0]
    assert [made.last_day_of(n) for n in (1, 3, 4, 5)] == [30, 20, 10, 0]


def test_of_nobody_there_is_an_empty_curve() -> None:
    made = kaplan_meier({})
    assert (made.total, made.longest_days, made.quantile(0.5), made.at_risk(0)) == (0, 0, None, 0)
    assert made.quantile_interval(0.5) == (None, None)


def test_following_cannot_end_before_it_begins() -> None:
    with pytest.raises(RecordError, match="followed for -2 days"):
        kaplan_meier({Followed(-2, False): 1})
