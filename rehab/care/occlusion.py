"""The occlusion calendar: which eye, how long a day, day by day, accepted by a person or proposed."""

from dataclasses import dataclass
from datetime import date

from rehab.care.case import Eye, Method
from rehab.rules.protocol import Because


@dataclass(frozen=True, slots=True)
class Span:
    """Days from `start` to before `until` with one dose. Not `accepted`: only a proposal."""

    start: date
    until: date
    eye: Eye
    minutes_per_day: int
    days_per_week: int
    method: Method
    accepted: bool
    because: Because
    regimen: str = ""

    @property
    def hours_per_day(self) -> float:
        return self.minutes_per_day / 60
