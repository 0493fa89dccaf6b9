"""Visits: the fewest trips that settle every check in its window, on days the clinic is open."""

from dataclasses import dataclass
from datetime import date

from rehab.care.checks import Check


@dataclass(frozen=True, slots=True)
class Visit:
    """One trip on `on`; any open day from `earliest` to `latest` (inclusive) settles its checks too."""

    on: date
    earliest: date
    latest: date
    checks: tuple[Check, ...]
    booked: bool = False
