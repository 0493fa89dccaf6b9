"""How a family is reached: contacts, what it has stated, every try, and what comes after one."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from rehab.care.case import Appointment, Case, Child, with_family
from rehab.care.contact_checks import check_contact, check_limits, check_try
from rehab.care.contacts import Consent, Contact, ContactTry, Limits, Way
from rehab.care.recall import Recall
from rehab.care.sharing import Sharing, check_sharing
from rehab.care.tracing import (
    Step,
    loop_closed,
    missed_since_seen,
    new_date,
    tracing_steps,
    untold,
)
from rehab.errors import RecordError
from rehab.store.store import Record, Stamp, Transaction, Version
from rehab.workflow import Desk, check_child, plan_or_why, recall_of

OF_REACHING = (Child, Contact, Limits, Sharing)


@dataclass(frozen=True, slots=True)
class AfterTry:
    """Where a family stands once a try is logged.

    `line` is the family's line of today's recall list, None when it is not on it; `steps` are the
    steps of tracing not yet done, the first due first; `told_of` is the new date that closed the
    loop after a child was not brought; `heard_of` are the other appointments of which this try
    told the family.
    """

    key: str
    case: Case
    line: Recall | None
    steps: tuple[Step, ...]
    told_of: Appointment | None
    heard_of: tuple[Appointment, ...] = ()


@dataclass(frozen=True, slots=True)
class Reach:
    """All that is recorded of reaching one family.

    `versions` are the latest by key, `history` holds every version of what is corrected over time.
    """

    case: Case
    versions: Mapping[str, int]
    tried_by: Mapping[str, str]
    history: tuple[Version, ...]


def add_contact(desk: Desk, number: str, contact: Contact, *, stamp: Stamp) -> str:
    """Raises RecordError for one that cannot be, or is already recorded."""
    check_contact(contact, number)
    with desk.store.transaction() as tx:
        return tx.add(number, contact, stamp)


def change_contact(
    desk: Desk, key: str, changes: Mapping[str, Any], *, stamp: Stamp, seen: int | None = None
) -> Contact:
    """Only what `changes` names is changed; `seen` is the version that the writer looked at."""
    with desk.store.transaction() as tx:
        before = _contact(tx, key)
        contact = replace(before, **changes)
        check_contact(contact, key)
        _correct(tx, key, (before, contact), stamp, seen)
        return contact


def remove_contact(desk: Desk, key: str, *, stamp: Stamp, seen: int | None = None) -> Contact:
    """Withdraw a contact that is no longer right; the history keeps it."""
    with desk.store.transaction() as tx:
        contact = _contact(tx, key)
        tx.withdraw(key, stamp, tx.version(key) if seen is None else seen)
        return contact


def change_child(
    desk: Desk, number: str, changes: Mapping[str, Any], *, today: date, stamp: Stamp
) -> Child:
    """Language, telephone number, family or name, as they are now."""
    with desk.store.transaction() as tx:
        before = tx.case(number).child
        child = replace(before, **changes)
        check_child(child, today)
        _correct(tx, number, (before, child), stamp, None)
        return child


def state_limits(
    desk: Desk, number: str, changes: Mapping[str, Any], *, clear: bool, stamp: Stamp
) -> Limits:
    """What `changes` names replaces what was stated; `clear` forgets the rest."""
    with desk.store.transaction() as tx:
        before = tx.case(number).limits
        limits = replace(Limits(before.id) if clear else before, **changes)
        check_limits(limits, tuple(site.code for site in tx.diary().sites), number)
        if not before.id:
            return replace(limits, id=tx.add(number, limits, stamp))
        reasoned = replace(stamp, reason=stamp.reason or "the family stated it")
        _correct(tx, before.id, (before, limits), reasoned, None)
        return limits


def agree_to_share(
    desk: Desk, number: str, sharing: Sharing, *, today: date, stamp: Stamp
) -> Sharing:
    """What a school may be told from now on; it replaces what the family agreed before."""
    with desk.store.transaction() as tx:
        case = tx.case(number)
        before = case.sharing
        check_sharing(sharing, before, case.child.date_of_birth, today, number)
        if before is None:
            return replace(sharing, id=tx.add(number, sharing, stamp))
        agreed = replace(sharing, id=before.id)
        reasoned = replace(stamp, reason=stamp.reason or "the family agreed to it")
        _correct(tx, before.id, (before, agreed), reasoned, None)
        return agreed


def log_try(desk: Desk, number: str, made: ContactTry, *, today: date, stamp: Stamp) -> AfterTry:
    """Record what happened, and say what comes next by the same rules as the recall list."""
    with desk.store.transaction() as tx:
        case = tx.case(number)
        check_try(made, case.child.date_of_birth, today, number)
        key = tx.add(number, made, stamp)
    tries = (*case.tries, replace(made, id=key))
    now = with_family(case, case.contacts, case.limits, tries, case.sharing)
    still = untold(now, today)
    after = after_try(desk, key, now, today)
    heard_of = (a for a in untold(case, today) if a not in still and a != after.told_of)
    return replace(after, heard_of=tuple(heard_of))


def after_try(desk: Desk, key: str, case: Case, today: date) -> AfterTry:
    if case.ending is not None and case.ending.on <= today:
        return AfterTry(key, case, None, (), None)
    plan = plan_or_why(desk, case, today=today)
    steps = (step for step in tracing_steps(case, desk.protocol, today) if step.done is None)
    missed = missed_since_seen(case, today)
    closed = bool(missed) and loop_closed(case, today)
    return AfterTry(
        key,
        case,
        recall_of(desk, case, plan, today=today),
        tuple(sorted(steps, key=lambda step: step.due_on)),
        new_date(case, missed[-1].on, today) if closed else None,
    )


def without_consent(case: Case, way: Way) -> tuple[tuple[Contact, Consent], ...]:
    """Whoever has not agreed to be written to in this way, when nobody of the family has."""
    if way not in (Way.TEXT, Way.EMAIL):
        return ()
    said = [(c, c.text_consent if way is Way.TEXT else c.email_consent) for c in case.contacts]
    return () if any(consent is Consent.YES for _, consent in said) else tuple(said)


def reach_of(desk: Desk, number: str) -> Reach:
    """Raises RecordError for a child that is not recorded."""
    case = desk.store.case(number)
    versions = desk.store.history(number)
    return Reach(
        case,
        {v.key: v.version for v in versions},
        {v.key: v.stamp.by for v in versions if isinstance(v.record, ContactTry)},
        tuple(v for v in versions if isinstance(v.record, OF_REACHING)),
    )


def _contact(tx: Transaction, key: str) -> Contact:
    number = key.partition("/")[0]
    found = next((c for c in tx.case(number).contacts if c.id == key), None)
    if found is None:
        raise RecordError(
            "no contact is recorded as this, or it was withdrawn.",
            where=key,
            do=f"See which there are: rehab contact list {number}",
        )
    return found


def _correct(
    tx: Transaction,
    key: str,
    before_after: tuple[Record, Record],
    stamp: Stamp,
    seen: int | None,
) -> None:
    before, after = before_after
    if before == after:
        raise RecordError(
            "this is recorded so already.", where=key, do="Give what is to be changed."
        )
    tx.correct(key, after, stamp, tx.version(key) if seen is None else seen)
