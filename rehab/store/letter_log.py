"""The log of letters: appended in one go, each letter once, and read with the newest first."""

from base64 import b64decode, b64encode
from collections.abc import Collection, Iterable, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from zlib import compress, decompress

from sqlalchemy import ColumnElement, Connection, func, insert, select

from rehab.care.letter_log import LetterMade, identified
from rehab.errors import RecordError
from rehab.store import schema
from rehab.store.reading import ByBytes, some_at_a_time
from rehab.store.rows import Row, Stored

TABLE = schema.letter_made
FEWEST_CHARACTERS = 6


def write_letters(connection: Connection, letters: Iterable[LetterMade]) -> tuple[LetterMade, ...]:
    """Appends each letter that is not there yet; returns all of them, with their uids.

    Writers take turns, so that nobody writes one of them between the look and the writing.
    """
    given: dict[str, LetterMade] = {}
    for letter in map(identified, letters):
        given.setdefault(letter.uid, letter)
    uids = list(given)
    known: set[str] = set()
    for some in some_at_a_time(uids):
        known |= set(connection.scalars(select(TABLE.c.uid).where(TABLE.c.uid.in_(some))))
    new = [_to_row(letter) for uid, letter in given.items() if uid not in known]
    if new:
        connection.execute(insert(TABLE), new)
    return tuple(given.values())


def read_letters(
    connection: Connection, child_number: str | None, limit: int | None
) -> tuple[LetterMade, ...]:
    """The letters of one child or of all, the newest first."""
    mine = () if child_number is None else (TABLE.c.child_number == child_number,)
    return _read(connection, *mine, limit=limit)


def read_letter(connection: Connection, begins: str) -> LetterMade:
    """The one letter whose uid begins so."""
    if len(begins) < FEWEST_CHARACTERS:
        raise RecordError(
            f"fewer than {FEWEST_CHARACTERS} characters do not name one letter.",
            where=begins,
            do="Give more of them, as the log of letters lists them.",
        )
    found = _read(connection, TABLE.c.uid.startswith(begins, autoescape=True), limit=2)
    if len(found) != 1:
        raise RecordError(
            "more than one letter begins so." if found else "there is no such letter.",
            where=begins,
            do="Give its characters as the log of letters lists them.",
        )
    return found[0]


def read_last_letters(
    connection: Connection, numbers: Sequence[str], kinds: Collection[str]
) -> dict[str, LetterMade]:
    """By child, the newest letter of one of these kinds; a child without one is left out."""
    other = TABLE.alias()
    newest = select(func.max(other.c.made_at)).where(
        other.c.child_number == TABLE.c.child_number, other.c.kind.in_(tuple(kinds))
    )
    last = TABLE.c.made_at == newest.correlate(TABLE).scalar_subquery()
    found: dict[str, LetterMade] = {}
    for some in some_at_a_time(numbers):
        theirs = TABLE.c.child_number.in_(some)
        for letter in _read(connection, theirs, TABLE.c.kind.in_(tuple(kinds)), last):
            found.setdefault(letter.child_number, letter)
    return found


def _read(
    connection: Connection, *conditions: ColumnElement[bool], limit: int | None = None
) -> tuple[LetterMade, ...]:
    order = TABLE.c.made_at.desc(), ByBytes(TABLE.c.uid)
    query = select(TABLE).where(*conditions).order_by(*order).limit(limit)
    return tuple(_from_row(row._asdict()) for row in connection.execute(query))


def _to_row(letter: LetterMade) -> Row:
    return {
        **asdict(letter),
        "made_at": letter.made_at.astimezone(UTC).isoformat(timespec="microseconds"),
        # Text, which every database keeps alike.
        "words": b64encode(compress(letter.words)).decode(),
    }


def _from_row(row: Stored) -> LetterMade:
    return LetterMade(
        **{
            **row,
            "made_at": datetime.fromisoformat(row["made_at"]),
            "words": decompress(b64decode(row["words"])),
        }
    )
