"""Many children who were never recorded, written at once: what one by one would take minutes."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Table, insert, select

from rehab.care.case import Case
from rehab.care.contacts import Limits
from rehab.errors import RecordError
from rehab.store import rows, schema
from rehab.store.reading import is_current, some_at_a_time
from rehab.store.refusals import plain_words
from rehab.store.store import Store
from rehab.store.transaction import Transaction
from rehab.store.versions import Kind, Record, Stamp, kind_of, stamp_to_row


def numbers_ever_used(store: Store) -> set[str]:
    """The numbers of all children, also of those entered in error, which never mean another."""
    with plain_words(store.engine.url), store.engine.connect() as connection:
        return set(connection.scalars(select(schema.child.c.key).distinct()))


def phones_of_contacts(store: Store) -> dict[str, str]:
    """For each child of whom one is known, a number that reaches a contact."""
    table = schema.contact
    query = select(table.c.child_number, table.c.phone).where(
        is_current(table), table.c.phone != ""
    )
    with plain_words(store.engine.url), store.engine.connect() as connection:
        return {row.child_number: row.phone for row in connection.execute(query)}


def add_new_cases(tx: Transaction, told: Sequence[tuple[Case, Stamp]]) -> None:
    """As adding each child, then each of its surgeries, appointments, contacts and limits.

    The cases must have been checked. Raises RecordError for a number that was ever used, a fact
    told twice, and a case that holds any other kind of fact.
    """
    _refuse_used(tx, [case.child.number for case, _ in told])
    by_table: dict[Table, list[rows.Row]] = defaultdict(list)
    for case, stamp in told:
        number, stamped = case.child.number, stamp_to_row(stamp)
        counted: Counter[Kind] = Counter()
        alike: set[tuple[Any, ...]] = set()
        for fact in _facts(case):
            kind = kind_of(fact)
            row = kind.to_row(fact)
            counted[kind] += 1
            if kind.alike is not None:
                alike.add((kind.letter, *(row[name] for name in kind.alike)))
            key = f"{number}/{kind.letter}{counted[kind]}" if kind.letter else number
            identity = {"key": key, "version": 1, "child_number": number, "withdrawn": False}
            by_table[kind.table].append({**identity, **row, **stamped})
        facts = counted.total()
        if len(alike) < facts:
            raise RecordError("one fact is told twice.", where=number, do="Leave one out.")
        by_table[schema.revision].append({"owner": number, "number": facts})
    for table, new in by_table.items():
        tx.connection.execute(insert(table), new)


def _facts(case: Case) -> Iterator[Record]:
    if (
        case.examinations
        or case.regimens
        or case.prescriptions
        or case.ending
        or case.tries
        or case.sharing
    ):
        raise RecordError(
            "this case holds more than can be written at once.",
            where=case.child.number,
            do="Register it by itself.",
        )
    yield case.child
    yield from case.surgeries
    yield from case.appointments
    yield from case.contacts
    if case.limits != Limits():
        yield case.limits


def _refuse_used(tx: Transaction, numbers: Sequence[str]) -> None:
    table = schema.child
    for some in some_at_a_time(numbers):
        used = tx.connection.scalar(select(table.c.key).where(table.c.key.in_(some)).limit(1))
        if used is not None:
            raise RecordError(
                "a child with this number is already recorded, or was once.",
                where=used,
                do="For another child, use another number.",
            )
    if len(set(numbers)) < len(numbers):
        raise RecordError("one number is given to two children.", do="Give each its own.")
