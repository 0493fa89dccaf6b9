"""A proposal of places as a spreadsheet file that a coordinator reads, shortens and gives back."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from rehab.booking_proposal import Left, Place, Proposed
from rehab.care.booking import in_words
from rehab.csv_files import csv_bytes, read_lines, read_small_table
from rehab.errors import RecordError
from rehab.measures.clock import clock, read_clock, read_minutes

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
    """The places, then whoever has none."""
    rows = (*map(_placed, proposed.places), *map(_left, proposed.left))
    return csv_bytes((HEADS, *rows))


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
    table = read_small_table(path)
    if missing := [name for name in NEEDED if name not in table.heads]:
        raise RecordError(
            f"the first line does not name {', '.join(missing)}.",
            where=str(path),
            do="Give the file that booking propose wrote; lines may be deleted, columns not.",
        )
    return tuple(line for line in read_lines(table, _line) if line is not None)


def _line(line: int, cells: Mapping[str, str]) -> Line | None:
    number, session, hour, length, visits, moves = (cells[name] for name in NEEDED)
    if not session:
        return None
    if not number:
        raise RecordError("names no child.")
    minutes = read_minutes(length) if length else None
    if minutes == 0:
        raise RecordError("0 minutes are no appointment.")
    starts = read_clock(hour) if hour else None
    return Line(line, number, session, starts, minutes, tuple(visits.split()), moves)
