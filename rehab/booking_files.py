"""A proposal of places as a spreadsheet file that a coordinator reads, shortens and gives back."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from rehab.booking_proposal import Left, Place, Proposed
from rehab.care.booking import in_words
from rehab.errors import MeasureError, RecordError
from rehab.measures.clock import clock, read_clock
from rehab.recall_files import inert

HEADS = (
    "number", "name", "session", "hour", "day", "minutes", "checks", "urgency", "from", "best",
    "to", "late", "visit", "moves", "why_no_place", "what_to_do",
)  # fmt: skip
NEEDED = ("number", "session", "hour", "minutes", "visit", "moves")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the file, to be booked: `moves` is the appointment that it would move, `visits`
    are the names of the visits that it is for."""

    line: int
    number: str
    session: str
    starts_minute: int | None
    minutes: int | None = None
    visits: tuple[str, ...] = ()
    moves: str = ""


def proposal_csv(proposed: Proposed) -> bytes:
    """UTF-8 with a byte-order mark and CRLF, as spreadsheets expect it: places, then the rest."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(HEADS)
    for row in (*map(_placed, proposed.places), *map(_left, proposed.left)):
        writer.writerow(inert(cell) for cell in row)
    return text.getvalue().encode("utf-8-sig")


def _placed(place: Place) -> tuple[str, ...]:
    request, appointment = place.request, place.appointment
    return (
        place.child.number,
        place.child.name,
        place.session.id,
        clock(appointment.starts_minute or 0),
        f"{appointment.on:%a} {appointment.on}",
        str(appointment.minutes),
        in_words(sorted(request.kinds)),
        str(request.urgency),
        str(request.earliest),
        str(request.target),
        "" if place.late else str(request.latest),
        f"its last good day was {place.late}" if place.late else "",
        "" if place.moved else request.visit,
        appointment.id,
        "",
        "",
    )


def _left(left: Left) -> tuple[str, ...]:
    start, end = map(str, left.window) if left.window else ("", "")
    empty = ("",) * 5
    return (
        *(left.child.number, left.child.name, *empty, str(left.urgency)),
        *(start, "", end, "", "", "", left.why, left.do),
    )


def read_proposal(path: Path) -> tuple[Line, ...]:
    """The lines with a session, to be booked; raises RecordError that names every odd line."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise RecordError(
            f"this file cannot be read ({error}).",
            where=str(path),
            do="Give the file that booking propose wrote, saved as CSV in UTF-8.",
        ) from None
    heads = text.partition("\n")[0]
    rows = csv.DictReader(
        io.StringIO(text, newline=""),
        delimiter=max(",;\t", key=heads.count),
        restkey="more",
        strict=True,
    )
    problems: list[str] = []
    lines: list[Line] = []
    try:
        if missing := [name for name in NEEDED if name not in (rows.fieldnames or ())]:
            raise RecordError(
                f"the first line does not name {', '.join(missing)}.",
                where=str(path),
                do="Give the file that booking propose wrote; lines may be deleted, columns not.",
            )
        for row in rows:
            lines += _read(row, rows.line_num, problems)
    except csv.Error as error:
        problems.append(f"line {rows.line_num + 1} cannot be split into columns ({error})")
    twice = {line.number for line in lines if lines.count(line) > 1}
    problems += (f"{number} stands there twice with the same place" for number in sorted(twice))
    if problems:
        raise RecordError(
            f"{'; '.join(problems)}.",
            where=str(path),
            do="Nothing was booked. Correct these lines.",
        )
    return tuple(lines)


def _read(row: dict[str, str], line: int, problems: list[str]) -> Iterator[Line]:
    if "more" in row or None in row.values():
        problems.append(f"line {line} has more or fewer columns than the first")
        return
    number, session, hour, length, visits, moves = (_said(row[name]) for name in NEEDED)
    if not session:
        return
    if not number:
        problems.append(f"line {line} names no child")
        return
    try:
        minute = read_clock(hour) if hour else None
    except MeasureError as error:
        problems.append(f"line {line}: {error.what.removesuffix('.')}")
        return
    if length and not (length.isascii() and length.isdecimal() and int(length) > 0):
        problems.append(f"line {line}: {length!r} is not whole minutes such as 15")
        return
    minutes = int(length) if length else None
    yield Line(line, number, session, minute, minutes, tuple(visits.split()), moves)


def _said(cell: str) -> str:
    """What stands in a cell, without the apostrophe that kept a spreadsheet from running it."""
    return cell.strip().removeprefix("'")
