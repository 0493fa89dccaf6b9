"""Wear typed into a spreadsheet, from a paper diary or any monitor: read whole or refused whole."""

import csv
from collections.abc import Mapping
from datetime import date
from pathlib import Path

from rehab.care.case import Child
from rehab.care.wear import WearDay, check_day
from rehab.errors import RecordError, RehabError
from rehab.measures.written_dates import iso_day

NEEDED, KNOWN = ("date", "minutes"), ("date", "minutes", "written_on")
HEADER = "Begin with the line: date,minutes or date,minutes,written_on"


def read_wear(path: Path, child: Child, today: date) -> tuple[WearDay, ...]:
    """The days of the file; raises RecordError that names every line that cannot be read.

    A date is written year-month-day: in any other order the reader would have to guess.
    """
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise RecordError(
            f"this file cannot be read ({error}).",
            where=str(path),
            do="Save it as a text file with commas (CSV, UTF-8).",
        ) from None
    heads = lines[0] if lines else ""
    rows = csv.DictReader(
        lines, delimiter=";" if ";" in heads else ",", restkey="more", strict=True
    )
    try:
        names = tuple(name.strip().lower() for name in rows.fieldnames or ())
        if not set(NEEDED) <= set(names) <= set(KNOWN) or len(set(names)) < len(names):
            raise RecordError(
                f"the first line is {heads!r}, not the names of the columns.",
                where=str(path),
                do=HEADER,
            )
        rows.fieldnames = names
        told_rows = [(rows.line_num, row) for row in rows]
    except csv.Error as error:
        raise RecordError(
            f"line {rows.line_num + 1} cannot be split into columns ({error}).",
            where=str(path),
            do="Nothing was written. Correct this line, above all its quotation marks.",
        ) from None
    days: dict[date, tuple[int, WearDay]] = {}
    wrong: list[str] = []
    for line, row in told_rows:
        try:
            day = _day(row)
            check_day(day, child, today)
            first, told = days.setdefault(day.on, (line, day))
            if told != day:
                raise RecordError(f"{day.on} was told otherwise on line {first}.")
        except RehabError as error:
            wrong.append(f"line {line}: {error.what}")
    if wrong:
        raise RecordError(
            " ".join(wrong), where=str(path), do="Nothing was written. Correct these lines."
        )
    return tuple(day for _, day in days.values())


def _day(row: Mapping[str, str]) -> WearDay:
    if "more" in row or None in row.values():
        raise RecordError("has more or fewer columns than the first line.")
    minutes, written = row["minutes"].strip(), row.get("written_on", "").strip()
    if not minutes.isascii() or not minutes.isdigit() or len(minutes) > 6:
        raise RecordError(f"{minutes!r} is not whole minutes, such as 90.")
    return WearDay(
        iso_day(row["date"].strip()), int(minutes), iso_day(written) if written else None
    )
