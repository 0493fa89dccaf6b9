"""Days as people write them: year-month-day always, another order only where it was told."""

import re
from datetime import date
from enum import StrEnum

from rehab.errors import MeasureError

_PARTS = re.compile(r"([0-9]{1,4})\s*([./\- ])\s*([0-9]{1,2})\s*\2\s*([0-9]{1,4})")
_ISO = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
# 1954 to 2119, counted in days as spreadsheets do.
_SERIAL = re.compile(r"[2-7][0-9]{4}(\.[0-9]+)?")


class DateOrder(StrEnum):
    """The order in which a day's three numbers are written."""

    DAY_FIRST = "day/month/year"
    MONTH_FIRST = "month/day/year"
    YEAR_FIRST = "year/month/day"


def iso_day(said: str) -> date:
    """The day `said` as year-month-day; raises MeasureError for anything else."""
    try:
        if not _ISO.fullmatch(said):
            raise ValueError
        return date.fromisoformat(said)
    except ValueError:
        raise MeasureError(f"{said!r} is not year-month-day, such as 2026-03-09.") from None


def read_day(said: str, order: DateOrder | None) -> date:
    """The day `said` as year-month-day, or in `order`; raises MeasureError rather than guess."""
    if _ISO.fullmatch(said):
        return iso_day(said)
    if _SERIAL.fullmatch(said):
        raise MeasureError(
            f"{said!r} looks like a spreadsheet's count of days, which begins in different years "
            "in different programs.",
            do="Show the column as dates in the spreadsheet, then save it again.",
        )
    found = _PARTS.fullmatch(said)
    if not found:
        return iso_day(said)
    if len(found[1]) < 4 and len(found[4]) < 4:
        raise MeasureError(
            f"{said!r} does not give the year in four figures.", do="Write the whole year."
        )
    if order is None:
        raise MeasureError(f"{said!r} {_could_be(orders_that_fit(said))}")
    day = _in_order(said, order)
    if day is None:
        raise MeasureError(f"{said!r} is no day in the order {order}.", do="Correct it.")
    return day


def orders_that_fit(said: str) -> tuple[DateOrder, ...]:
    """The orders in which `said` is a day."""
    return tuple(order for order in DateOrder if _in_order(said, order))


def _in_order(said: str, order: DateOrder) -> date | None:
    found = _PARTS.fullmatch(said)
    if not found:
        return None
    numbers = dict(zip(order.split("/"), (found[1], found[3], found[4]), strict=True))
    if len(numbers["year"]) < 4 or len(numbers["day"]) > 2 or len(numbers["month"]) > 2:
        return None
    try:
        return date(int(numbers["year"]), int(numbers["month"]), int(numbers["day"]))
    except ValueError:
        return None


def _could_be(orders: tuple[DateOrder, ...]) -> str:
    if not orders:
        return "is no day in any order."
    return f"would be a day as {' or as '.join(orders)}: say which with --dates."
