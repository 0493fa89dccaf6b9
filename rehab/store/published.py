"""The clinic's own calendar: its appointments as they stand, and what was last published of it."""

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection, delete, insert, select

from rehab.care.case import CANCELLED, Appointment, Child, Ending
from rehab.care.changes import EntryKind, EntryState
from rehab.store import schema
from rehab.store.reading import ByBytes, is_current, is_latest, read_versions
from rehab.store.versions import KINDS, owner


@dataclass(frozen=True, slots=True)
class Booked:
    """An appointment with its child, the keys of the checks it settles, and how often it changed.

    It is cancelled by an outcome, by being withdrawn, or because care here has ended before it.
    """

    child: Child
    appointment: Appointment
    checks: tuple[str, ...]
    cancelled: bool
    changes: int
    changed_at: datetime


@dataclass(frozen=True, slots=True)
class Published:
    """What a calendar on a server held of an event when we last wrote it there."""

    name: str
    digest: str


def read_appointments(connection: Connection, first: date) -> tuple[Booked, ...]:
    """The appointments from `first` on in order of time, also those that will not be."""
    children = {
        v.key: v.record
        for v in read_versions(connection, KINDS[Child], is_current(schema.child))
        if isinstance(v.record, Child)
    }
    ended = {
        owner(v.key): v.record.on
        for v in read_versions(connection, KINDS[Ending], is_current(schema.ending))
        if isinstance(v.record, Ending)
    }
    checks = _read_checks(connection, first)
    table = schema.appointment
    found: list[Booked] = []
    for version in read_versions(
        connection, KINDS[Appointment], is_latest(table), table.c.on >= first
    ):
        number, appointment = owner(version.key), version.record
        if number not in children or not isinstance(appointment, Appointment):
            continue
        over = number in ended and ended[number] <= appointment.on
        found.append(
            Booked(
                child=children[number],
                appointment=appointment,
                checks=checks.get((number, appointment.on), ()),
                cancelled=version.withdrawn or appointment.outcome in CANCELLED or over,
                changes=version.version - 1 + over,
                changed_at=version.stamp.at,
            )
        )
    return tuple(sorted(found, key=_place))


def _place(booked: Booked) -> tuple[date, int, str, str]:
    appointment = booked.appointment
    minute = -1 if appointment.starts_minute is None else appointment.starts_minute
    return appointment.on, minute, booked.child.number, appointment.id


def _read_checks(connection: Connection, first: date) -> dict[tuple[str, date], tuple[str, ...]]:
    table = schema.calendar_entry
    query = select(table.c.child_number, table.c.on, table.c.checks).where(
        table.c.kind == EntryKind.APPOINTMENT,
        table.c.state != EntryState.WITHDRAWN,
        table.c.on >= first,
    )
    return {(number, on): tuple(keys) for number, on, keys in connection.execute(query)}


def read_published(connection: Connection, calendar: str) -> dict[str, Published]:
    """By uid, what was published to `calendar`."""
    table = schema.published_event
    query = select(table.c.uid, table.c.place, table.c.digest).where(table.c.calendar == calendar)
    found = connection.execute(query.order_by(ByBytes(table.c.uid)))
    return {uid: Published(name, digest) for uid, name, digest in found}


def write_published(
    connection: Connection, calendar: str, uid: str, published: Published | None
) -> None:
    """Keeps what an event was published as; None forgets it."""
    table = schema.published_event
    connection.execute(delete(table).where(table.c.calendar == calendar, table.c.uid == uid))
    if published:
        row = {"place": published.name, "digest": published.digest}
        connection.execute(insert(table).values(calendar=calendar, uid=uid, **row))
