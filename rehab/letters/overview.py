"""The clinic's start page: every child's story, next visit and open questions, on one day."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from rehab.care.case import Child, Eye
from rehab.care.checks import Check, Status
from rehab.care.plan import Plan
from rehab.care.recall import Recall
from rehab.letters.render import environment
from rehab.measures.age_text import age_in_words
from rehab.settings import Clinic

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
ISO_DATE = re.compile(r"\b(\d{4})-(\d\d)-(\d\d)\b")


@dataclass(frozen=True, slots=True)
class Line:
    """One child; `active` says that a letter and a calendar were written."""

    plan: Plan
    story: str
    active: bool


@dataclass(frozen=True, slots=True)
class Next:
    """The next visit. `booked` is the day of the first booked visit, None when there is none."""

    on: date
    earliest: date
    latest: date
    booked: date | None
    checks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Waits:
    """What a person must settle about one decision, and the eye where one is concerned."""

    about: str
    eye: Eye | None
    what: str


@dataclass(frozen=True, slots=True)
class Row:
    """One child as the page shows it."""

    child: Child
    age: str
    story: str
    active: bool
    next_visit: Next | None
    overdue: tuple[str, ...]
    waits: tuple[Waits, ...]


@dataclass(frozen=True, slots=True)
class Call:
    """One family of the recall list."""

    child: Child
    contact: str
    reasons: tuple[str, ...]
    come_by: date | None


@dataclass(frozen=True, slots=True)
class Overview:
    """All that the template may know; `example` is a child with a date to ask about."""

    clinic: Clinic
    today: date
    rows: tuple[Row, ...]
    calls: tuple[Call, ...]
    letters: int
    waiting: int
    example: tuple[str, date] | None


def overview(
    lines: tuple[Line, ...], recall: tuple[Recall, ...], clinic: Clinic, today: date
) -> str:
    """An HTML page that links to the letters and calendars beside it."""
    template = environment().get_template("letters/overview.html")
    return template.render(page=overview_of(lines, recall, clinic, today))


def overview_of(
    lines: tuple[Line, ...], recall: tuple[Recall, ...], clinic: Clinic, today: date
) -> Overview:
    rows = tuple(_row(line) for line in lines)
    visits = ((line.plan.child.number, v.on) for line in lines for v in line.plan.visits)
    return Overview(
        clinic=clinic,
        today=today,
        rows=rows,
        calls=tuple(
            Call(
                r.child,
                spelled_out(r.contact),
                tuple(spelled_out(reason.sentence) for reason in r.reasons),
                r.come_by,
            )
            for r in recall
        ),
        letters=sum(row.active for row in rows),
        waiting=sum(bool(row.waits) for row in rows),
        example=next(visits, None),
    )


def _row(line: Line) -> Row:
    plan = line.plan
    return Row(
        child=plan.child,
        age=age_in_words(plan.child.date_of_birth, plan.today),
        story=line.story,
        active=line.active,
        next_visit=_next(plan),
        overdue=_named(c for c in plan.checks if c.status is Status.OVERDUE),
        waits=tuple(Waits(_words(p.about), p.eye, spelled_out(p.what)) for p in plan.problems),
    )


def _next(plan: Plan) -> Next | None:
    visits = sorted(plan.visits, key=lambda v: v.on)
    if not visits:
        return None
    first = visits[0]
    return Next(
        on=first.on,
        earliest=max(first.earliest, plan.today),
        latest=first.latest,
        booked=next((v.on for v in visits if v.booked), None),
        checks=_named(first.checks),
    )


def _named(checks: Iterable[Check]) -> tuple[str, ...]:
    """Each kind once, by the name that the commands use."""
    return tuple(dict.fromkeys(_words(check.kind) for check in checks))


def _words(name: str) -> str:
    return name.replace("_", " ")


def spelled_out(text: str, letters: int | None = None) -> str:
    """`text` with each date such as 2026-11-23 written as 23 November 2026.

    Of the month's name as many `letters` as asked for, else all.
    """
    return ISO_DATE.sub(lambda d: f"{int(d[3])} {MONTHS[int(d[2]) - 1][:letters]} {d[1]}", text)
