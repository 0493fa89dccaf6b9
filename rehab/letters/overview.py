"""The clinic's overview page: every child's next visit and what waits for a person."""

from dataclasses import dataclass
from datetime import date

from rehab.care.plan import Plan
from rehab.care.recall import Recall
from rehab.letters.render import environment
from rehab.settings import Clinic


@dataclass(frozen=True, slots=True)
class Line:
    """One child; `active` says that a letter and a calendar were written."""

    plan: Plan
    story: str
    active: bool


def overview(
    lines: tuple[Line, ...], recall: tuple[Recall, ...], clinic: Clinic, today: date
) -> str:
    """An HTML page that links to the letters and calendars beside it."""
    template = environment().get_template("letters/overview.html")
    return template.render(lines=lines, recall=recall, clinic=clinic, today=today)
