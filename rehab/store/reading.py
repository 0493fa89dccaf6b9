"""Reading facts back: versions, whole cases and calendar entries, in few queries."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from functools import cache
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, Table, and_, func, select
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.functions import FunctionElement

from rehab.care.case import (
    CANCELLED,
    Appointment,
    Case,
    Child,
    Ending,
    Examination,
    EyeFindings,
    Outcome,
    Prescription,
    Regimen,
    Surgery,
    case_of,
    with_family,
)
from rehab.care.changes import Entry
from rehab.care.contacts import Contact, ContactTry, Limits
from rehab.care.diary import Closure, Diary, Holiday, SessionPattern, Site
from rehab.care.proposals import KeptProposal
from rehab.care.sharing import Sharing
from rehab.care.translations import TranslationReview
from rehab.care.wear import WearDay
from rehab.measures.acuity import Acuity
from rehab.store import rows, schema
from rehab.store.versions import (
    DIARY_KINDS,
    KINDS,
    OF_A_CASE,
    REVIEWS,
    DiaryRecord,
    Kind,
    Record,
    Version,
    kind_of_key,
    not_recorded,
    owner,
    stamp_from_row,
)

VALUES_AT_ONCE = 500


class ByBytes(FunctionElement[str]):
    """Texts in an order that does not depend on the language of the database server."""

    inherit_cache = True


@compiles(ByBytes)
def _as_sqlite_orders(element: ByBytes, compiler: SQLCompiler, **given: Any) -> str:
    return compiler.process(element.clauses, **given)


@compiles(ByBytes, "postgresql")
def _on_postgresql(element: ByBytes, compiler: SQLCompiler, **given: Any) -> str:
    return f'{compiler.process(element.clauses, **given)} COLLATE "C"'


def some_at_a_time(values: Sequence[str]) -> Iterator[Sequence[str]]:
    """No database takes any number of values in one question."""
    for start in range(0, len(values), VALUES_AT_ONCE):
        yield values[start : start + VALUES_AT_ONCE]


@cache
def is_latest(table: Table) -> ColumnElement[bool]:
    other = table.alias()
    highest = select(func.max(other.c.version)).where(other.c.key == table.c.key)
    return table.c.version == highest.correlate(table).scalar_subquery()


@cache
def is_current(table: Table) -> ColumnElement[bool]:
    return and_(is_latest(table), table.c.withdrawn.is_(False))


def read_versions(
    connection: Connection, kind: Kind, *conditions: ColumnElement[bool]
) -> list[Version]:
    """The versions that meet the conditions, in order of key and version."""
    table = kind.table
    query = select(table).where(*conditions).order_by(ByBytes(table.c.key), table.c.version)
    found = _rows(connection, query)
    if table is schema.examination:
        findings = _read_findings(connection, conditions)
        found = [{**row, "findings": findings[row["key"], row["version"]]} for row in found]
    return [
        Version(
            row["key"], row["version"], kind.from_row(row), stamp_from_row(row), row["withdrawn"]
        )
        for row in found
    ]


def _read_findings(
    connection: Connection, conditions: Sequence[ColumnElement[bool]]
) -> dict[tuple[str, int], list[EyeFindings]]:
    acuities: dict[tuple[str, int, str], list[Acuity]] = defaultdict(list)
    for row in _rows(connection, _parts(schema.acuity, conditions)):
        acuities[row["key"], row["version"], row["eye"]].append(rows.acuity_from_row(row))
    findings: dict[tuple[str, int], list[EyeFindings]] = defaultdict(list)
    for row in _rows(connection, _parts(schema.eye_findings, conditions)):
        whole = {**row, "acuities": acuities[row["key"], row["version"], row["eye"]]}
        findings[row["key"], row["version"]].append(rows.findings_from_row(whole))
    return findings


def _parts(table: Table, conditions: Sequence[ColumnElement[bool]]) -> Select[Any]:
    """The rows of a table that belong to the examinations that meet the conditions."""
    examination = schema.examination
    same = and_(examination.c.key == table.c.key, examination.c.version == table.c.version)
    return select(table).join(examination, same).where(*conditions).order_by(table.c.position)


def read_latest(connection: Connection, key: str) -> Version:
    kind = kind_of_key(key)
    versions = read_versions(connection, kind, kind.table.c.key == key, is_latest(kind.table))
    if not versions:
        raise not_recorded(key)
    return versions[0]


def read_case(connection: Connection, number: str) -> Case:
    found = read_cases(connection, [number])
    if number not in found:
        raise not_recorded(number)
    return found[number]


def read_cases(connection: Connection, numbers: Sequence[str]) -> dict[str, Case]:
    facts: dict[type[Record], dict[str, list[Any]]] = {}
    for of_kind in OF_A_CASE:
        kind = KINDS[of_kind]
        table = kind.table
        versions = read_versions(
            connection, kind, table.c.child_number.in_(numbers), is_current(table)
        )
        facts[of_kind] = defaultdict(list)
        for version in versions:
            facts[of_kind][owner(version.key)].append(version.record)
    return {
        number: with_family(
            case_of(
                child,
                surgeries=tuple(facts[Surgery][number]),
                examinations=tuple(facts[Examination][number]),
                regimens=tuple(facts[Regimen][number]),
                appointments=tuple(facts[Appointment][number]),
                ending=next(iter(facts[Ending][number]), None),
                prescriptions=tuple(facts[Prescription][number]),
            ),
            tuple(facts[Contact][number]),
            next(iter(facts[Limits][number]), None),
            tuple(facts[ContactTry][number]),
            next(iter(facts[Sharing][number]), None),
        )
        for number, (child,) in facts[Child].items()
    }


def read_diary(connection: Connection) -> Diary:
    def current(of_kind: type[DiaryRecord]) -> tuple[Any, ...]:
        kind = DIARY_KINDS[of_kind]
        return tuple(v.record for v in read_versions(connection, kind, is_current(kind.table)))

    return Diary(current(Site), current(SessionPattern), current(Closure), current(Holiday))


def read_translation_reviews(connection: Connection) -> tuple[TranslationReview, ...]:
    """The reviews that were not withdrawn, in order of day."""
    found = (v.record for v in read_versions(connection, REVIEWS, is_current(REVIEWS.table)))
    reviews = (review for review in found if isinstance(review, TranslationReview))
    return tuple(sorted(reviews, key=lambda r: (r.on, len(r.id), r.id)))


def read_booked(
    connection: Connection, start: date, until: date
) -> tuple[tuple[str, Appointment], ...]:
    """The appointments in sessions from `start` to before `until` that take up room there, each
    with its child's number; one that was cancelled takes up none."""
    table = schema.appointment
    conditions = (
        table.c.on >= start,
        table.c.on < until,
        table.c.session != "",
        table.c.outcome.not_in(CANCELLED),
    )
    return tuple(_appointments(connection, *conditions))


def read_expected(connection: Connection, start: date) -> tuple[tuple[str, Appointment], ...]:
    """The appointments still booked from `start` on, in a session or not, each with its child's
    number, in order of day."""
    table = schema.appointment
    conditions = table.c.on >= start, table.c.outcome == Outcome.BOOKED
    booked = _appointments(connection, *conditions)
    return tuple(sorted(booked, key=lambda b: (b[1].on, b[1].starts_minute or 0, b[0])))


def read_latest_in_diary(connection: Connection, of_kind: type[DiaryRecord]) -> tuple[Version, ...]:
    """The latest version of each fact of a kind, also of those that were withdrawn."""
    kind = DIARY_KINDS[of_kind]
    return tuple(read_versions(connection, kind, is_latest(kind.table)))


def read_history_in_diary(connection: Connection, key: str) -> tuple[Version, ...]:
    """Every version of one fact of the diary, oldest first."""
    kind = kind_of_key(key)
    return tuple(read_versions(connection, kind, kind.table.c.key == key))


def read_unsettled(connection: Connection, on: date) -> tuple[tuple[str, Appointment], ...]:
    """The appointments of a day of which nobody has recorded what became, each with its child's
    number, in order of number."""
    table = schema.appointment
    conditions = table.c.on == on, table.c.outcome == Outcome.BOOKED
    return tuple(sorted(_appointments(connection, *conditions), key=lambda booked: booked[0]))


def _appointments(
    connection: Connection, *conditions: ColumnElement[bool]
) -> list[tuple[str, Appointment]]:
    """The appointments as they stand that meet the conditions, each with its child's number."""
    current = is_current(schema.appointment)
    found = read_versions(connection, KINDS[Appointment], current, *conditions)
    return [(owner(v.key), v.record) for v in found if isinstance(v.record, Appointment)]


def read_proposals(connection: Connection, number: str) -> tuple[KeptProposal, ...]:
    """What was proposed for a child's occlusion, oldest first."""
    found = _current(connection, KeptProposal, number)
    made = [version.record for version in found if isinstance(version.record, KeptProposal)]
    return tuple(sorted(made, key=lambda p: (p.on, int(p.id.rpartition("P")[2]))))


def read_wear(connection: Connection, number: str) -> tuple[WearDay, ...]:
    """The days of wear as last told, in order of day."""
    found = _current(connection, WearDay, number)
    return tuple(version.record for version in found if isinstance(version.record, WearDay))


def _current(connection: Connection, of_kind: type[Record], number: str) -> list[Version]:
    kind = KINDS[of_kind]
    mine = kind.table.c.child_number == number
    return read_versions(connection, kind, mine, is_current(kind.table))


def read_entries(connection: Connection, number: str) -> tuple[Entry, ...]:
    return read_entries_of(connection, [number])[number]


def read_entries_of(connection: Connection, numbers: Iterable[str]) -> dict[str, tuple[Entry, ...]]:
    """What the calendars of these children hold, each in order of day and identity."""
    table = schema.calendar_entry
    found: dict[str, list[Entry]] = {number: [] for number in numbers}
    query = select(table).where(table.c.child_number.in_(found))
    for row in _rows(connection, query.order_by(table.c.on, ByBytes(table.c.uid))):
        found[row["child_number"]].append(rows.entry_from_row(row))
    return {number: tuple(entries) for number, entries in found.items()}


def _rows(connection: Connection, query: Select[Any]) -> list[rows.Row]:
    return [row._asdict() for row in connection.execute(query)]
