"""Kaplan–Meier: the share to whom nothing has happened yet, with Greenwood's variance.

The 95 % interval is taken on the scale of log(-log S), so that it stays within 0 to 1. Where
nothing has happened yet, or nobody is left, Greenwood's formula gives none, and none is told.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from math import exp, log, sqrt

from rehab.care.proportion import Z95, caution
from rehab.errors import RecordError


@dataclass(frozen=True, slots=True)
class Followed:
    """Days followed until the event, or until the watching ended without it (censored)."""

    days: int
    happened: bool

    @property
    def time(self) -> timedelta:
        return timedelta(days=self.days)


@dataclass(frozen=True, slots=True)
class Step:
    """What is known at `days`; `survival` holds from this day until the next step.

    `at_risk` were still followed just before; those censored on a day count as followed on it.
    """

    days: int
    at_risk: int
    events: int
    censored: int
    survival: float
    standard_error: float
    interval: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Curve:
    """One step for each day on which something happened or watching ended, in order."""

    total: int
    steps: tuple[Step, ...]

    @property
    def longest_days(self) -> int:
        return self.steps[-1].days if self.steps else 0

    @property
    def events(self) -> int:
        return sum(step.events for step in self.steps)

    @property
    def caution(self) -> str:
        return caution(self.total)

    def at(self, days: int) -> Step:
        """The last step up to `days`; where it lies before the first, nothing has happened."""
        before = [step for step in self.steps if step.days <= days]
        return before[-1] if before else Step(days, self.total, 0, 0, 1.0, 0.0, None)

    def at_risk(self, days: int) -> int:
        """How many were followed for at least `days`."""
        return next((step.at_risk for step in self.steps if step.days >= days), 0)

    def last_day_of(self, number: int) -> int:
        """The last day on which at least `number` were followed; 0 when they never were."""
        return max((step.days for step in self.steps if step.at_risk >= number), default=0)

    def quantile(self, share: float) -> int | None:
        """The first day by which at least `share` had the event; None when it was not reached."""
        # A survival of exactly 0.5 may come out of the product a hair above it.
        return next((s.days for s in self.steps if s.survival <= 1 - share + 1e-12), None)

    def quantile_interval(self, share: float) -> tuple[int | None, int | None]:
        """The days at which the lower and the upper limit of the curve cross (Brookmeyer 1982)."""
        limits = [(s.days, *s.interval) for s in self.steps if s.interval]
        # Once everybody had the event no limit is left, and the last day bounds both.
        limits += [(s.days, 0.0, 0.0) for s in self.steps if s.survival == 0]
        below = 1 - share
        return (
            next((days for days, low, _ in limits if low <= below), None),
            next((days for days, _, high in limits if high <= below), None),
        )


def kaplan_meier(followed: Mapping[Followed, int]) -> Curve:
    """The curve of so many children of each kind; raises RecordError for days below 0."""
    by_day: dict[int, list[int]] = {}
    for one, number in followed.items():
        if one.days < 0:
            raise RecordError(
                f"somebody was followed for {one.days} days.",
                where="survival",
                do="Check the dates: following cannot end before it begins.",
            )
        by_day.setdefault(one.days, [0, 0])[0 if one.happened else 1] += number
    total = at_risk = sum(followed.values())
    survival, variance = 1.0, 0.0
    steps = []
    for days, (events, censored) in sorted(by_day.items()):
        left = at_risk - events
        survival *= left / at_risk
        variance += events / (at_risk * left) if left else 0.0
        steps.append(
            Step(
                days,
                at_risk,
                events,
                censored,
                survival,
                survival * sqrt(variance),
                _interval(survival, variance),
            )
        )
        at_risk = left - censored
    return Curve(total, tuple(steps))


def _interval(survival: float, variance: float) -> tuple[float, float] | None:
    if not 0 < survival < 1:
        return None
    spread = exp(Z95 * sqrt(variance) / abs(log(survival)))
    return survival**spread, survival ** (1 / spread)
