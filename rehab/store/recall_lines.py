"""The recall list as last worked out: which lines still hold, new ones, and reading in order."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Connection, Row, Select, and_, delete, func, insert, select

from rehab.store import schema
from rehab.store.reading import ByBytes, is_current, some_at_a_time

TABLE = schema.recall_line
LINES_AT_ONCE = 1000
Anything = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class MadeWith:
    """What a line follows from, besides the facts of the child: the day, and a digest of the
    rules, the clinic's settings and its diary."""

    on: date
    digest: str


@dataclass(frozen=True, slots=True)
class StoredLine:
    """`revision` is that of the child when it was planned; `followed`: so was its calendar.

    `block` is the line as it is printed under its `heading`, `content` the same as JSON; without
    them nobody needs to contact the family.
    """

    child_number: str
    revision: int
    followed: bool
    place: str = ""
    heading: str = ""
    block: str = ""
    content: str = ""


def read_out_of_date(connection: Connection, made: MadeWith, *, followed: bool) -> tuple[str, ...]:
    """The numbers of the children whose line no longer holds, or whose calendar has not followed
    where it must have."""
    child = schema.child
    line = and_(
        TABLE.c.child_number == child.c.key,
        TABLE.c.planned_on == made.on,
        TABLE.c.made_with == made.digest,
        TABLE.c.revision == func.coalesce(schema.revision.c.number, 0),
        *((TABLE.c.followed.is_(True),) if followed else ()),
    )
    query = (
        select(child.c.key)
        .outerjoin(schema.revision, schema.revision.c.owner == child.c.key)
        .outerjoin(TABLE, line)
        .where(is_current(child), TABLE.c.child_number.is_(None))
        .order_by(ByBytes(child.c.key))
    )
    return tuple(connection.scalars(query))


def read_revisions(connection: Connection, numbers: Sequence[str]) -> dict[str, int]:
    table = schema.revision
    found = dict.fromkeys(numbers, 0)
    for some in some_at_a_time(numbers):
        query = select(table.c.owner, table.c.number).where(table.c.owner.in_(some))
        found |= {row.owner: row.number for row in connection.execute(query)}
    return found


def write_lines(connection: Connection, made: MadeWith, lines: Iterable[StoredLine]) -> None:
    """Replaces the lines of these children."""
    given = list(lines)
    connection.execute(
        delete(TABLE).where(TABLE.c.child_number.in_([line.child_number for line in given]))
    )
    rows = [
        {
            "child_number": line.child_number,
            "planned_on": made.on,
            "made_with": made.digest,
            "revision": line.revision,
            "followed": line.followed,
            "listed": bool(line.heading),
            "place": line.place,
            "heading": line.heading,
            "block": line.block,
            "content": line.content,
        }
        for line in given
    ]
    if rows:
        connection.execute(insert(TABLE), rows)


def read_counts(connection: Connection) -> tuple[tuple[str, int], ...]:
    """How many lines stand under each heading, in the order of the list."""
    counted = (
        select(TABLE.c.heading, func.count())
        .where(TABLE.c.listed.is_(True))
        .group_by(TABLE.c.heading)
        .order_by(func.min(TABLE.c.place))
    )
    return tuple((heading, count) for heading, count in connection.execute(counted))


def read_blocks(connection: Connection, first: int | None) -> Iterator[tuple[str, str]]:
    """The lines in order as they are printed: heading and block."""
    for row in _in_order(connection, select(TABLE.c.heading, TABLE.c.block), first):
        yield row[0], row[1]


def read_contents(connection: Connection, first: int | None) -> Iterator[str]:
    """The lines in order, each as JSON."""
    yield from (row.content for row in _in_order(connection, select(TABLE.c.content), first))


def _in_order(
    connection: Connection, query: Select[*Anything], first: int | None
) -> Iterator[Row[*Anything]]:
    listed = query.where(TABLE.c.listed.is_(True)).order_by(TABLE.c.place).limit(first)
    with connection.execute(listed, execution_options={"yield_per": LINES_AT_ONCE}) as found:
        yield from found
