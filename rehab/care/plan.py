"""The plan of one child: checks, visits, occlusion and what a person must settle."""

from dataclasses import dataclass
from datetime import date

from rehab.care.case import Child
from rehab.care.checks import Check
from rehab.care.occlusion import Span
from rehab.care.problems import Problem
from rehab.care.visits import Visit


@dataclass(frozen=True, slots=True)
class Plan:
    """`horizon` is the first day that the plan no longer looks at."""

    child: Child
    today: date
    horizon: date
    checks: tuple[Check, ...]
    visits: tuple[Visit, ...]
    occlusion: tuple[Span, ...]
    problems: tuple[Problem, ...]
