"""The calendar of a letter: a month at a time, each day with its patching hours and visits."""

from calendar import Calendar
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from rehab.letters.home import Hours, Trip
from rehab.measures.dates import DAYS_PER_WEEK, add_months

MONTHS_SHOWN = 3
DIARY_DAYS = 14


class Mark(StrEnum):
    """What a day means for a visit."""

    BOOKED = "booked"
    BEST = "best"
    GOOD = "good"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class DayCell:
    """One day of the grid; `hours` are those in force on it, none when nothing is agreed for it."""

    on: date
    hours: Hours | None
    mark: Mark


@dataclass(frozen=True, slots=True)
class Month:
    """A month as weeks of seven from today's on; a day of another month, or before today, has no
    cell.

    `weekdays` are 0 (Monday) to 6, in the order of the columns.
    """

    first: date
    weekdays: tuple[int, ...]
    weeks: tuple[tuple[DayCell | None, ...], ...]


@dataclass(frozen=True, slots=True)
class Shown:
    """What the days of some months show, and so what must be explained: booked visits, days for
    one that is not booked, hours, hours on only some days of a week."""

    booked: bool
    open: bool
    hours: bool
    some_days: bool


def shown_in(months: Sequence[Month]) -> Shown:
    cells = [cell for month in months for week in month.weeks for cell in week if cell]
    marks = {cell.mark for cell in cells}
    weekly = {cell.hours.days_per_week for cell in cells if cell.hours}
    return Shown(
        booked=Mark.BOOKED in marks,
        open=not marks.isdisjoint((Mark.BEST, Mark.GOOD)),
        hours=bool(weekly),
        some_days=any(days < DAYS_PER_WEEK for days in weekly),
    )


def months_of(
    hours: Sequence[Hours], trips: Sequence[Trip], today: date, first_weekday: int
) -> tuple[Month, ...]:
    """The months from today's to the last with agreed hours or a visit to come, at most a few."""
    ends = [*(row.last for row in hours), *(trip.on for trip in trips)]
    first = today.replace(day=1)
    months = [add_months(first, n) for n in range(MONTHS_SHOWN)]
    return tuple(
        _month(month, hours, trips, today, first_weekday)
        for month in months
        if any(month <= end for end in ends)
    )


def _month(
    first: date, hours: Sequence[Hours], trips: Sequence[Trip], today: date, first_weekday: int
) -> Month:
    def cell(on: date) -> DayCell | None:
        if on.month != first.month or on < today:
            return None
        return _cell(on, hours, trips)

    calendar = Calendar(first_weekday)
    weeks = calendar.monthdatescalendar(first.year, first.month)
    cells = (tuple(cell(on) for on in week) for week in weeks)
    return Month(first, tuple(calendar.iterweekdays()), tuple(row for row in cells if any(row)))


def diary_of(hours: Sequence[Hours], trips: Sequence[Trip], today: date) -> tuple[DayCell, ...]:
    """The days of a diary that begins today."""
    days = (today + timedelta(days=n) for n in range(DIARY_DAYS))
    return tuple(_cell(on, hours, trips) for on in days)


def _cell(on: date, hours: Sequence[Hours], trips: Sequence[Trip]) -> DayCell:
    row = next((h for h in hours if h.start <= on <= h.last), None)
    return DayCell(on, row, _mark(on, trips))


def _mark(on: date, trips: Sequence[Trip]) -> Mark:
    if any(trip.booked and trip.on == on for trip in trips):
        return Mark.BOOKED
    open_ones = [trip for trip in trips if not trip.booked]
    if any(trip.on == on for trip in open_ones):
        return Mark.BEST
    return Mark.GOOD if any(on in trip.days for trip in open_ones) else Mark.NONE
