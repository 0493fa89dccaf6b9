"""Wear typed into a spreadsheet, from a paper diary or any monitor: read whole or refused whole."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path

from rehab.care.case import Child
from rehab.care.wear import WearDay, check_day
from rehab.csv_files import read_lines, read_small_table
from rehab.errors import RecordError
from rehab.measures.clock import read_minutes
from rehab.measures.written_dates import iso_day

NEEDED, KNOWN = ("date", "minutes"), ("date", "minutes", "written_on")
HEADER = "Begin with the line: date,minutes or date,minutes,written_on"


def read_wear(path: Path, child: Child, today: date) -> tuple[WearDay, ...]:
    """The days of the file; raises RecordError that names every line that cannot be read.

    A date is written year-month-day: in any other order the reader would have to guess.
    """
    table = read_small_table(path)
    names = set(table.heads)
    if not set(NEEDED) <= names <= set(KNOWN) or len(names) < len(table.heads):
        raise RecordError(
            f"the first line is {','.join(table.heads)!r}, not the names of the columns.",
            where=str(path),
            do=HEADER,
        )
    days: dict[date, tuple[int, WearDay]] = {}

    def how(line: int, cells: Mapping[str, str]) -> None:
        day = _day(cells)
        check_day(day, child, today)
        first, told = days.setdefault(day.on, (line, day))
        if told != day:
            raise RecordError(f"{day.on} was told otherwise on line {first}.")

    read_lines(table, how)
    return tuple(day for _, day in days.values())


def _day(cells: Mapping[str, str]) -> WearDay:
    written = cells.get("written_on")
    return WearDay(
        iso_day(cells["date"]),
        read_minutes(cells["minutes"]),
        iso_day(written) if written else None,
    )
