"""Corrections: what was recorded in error is superseded or withdrawn, and its history stays."""

from dataclasses import replace
from datetime import date

from rehab.care.case import Case, Examination, Surgery
from rehab.care.history import check_examination, check_surgery
from rehab.errors import RecordError
from rehab.store.store import Stamp
from rehab.store.versions import WORDS, owner
from rehab.workflow import Desk

STANDS_ALONE = ("E", "W", "P", "C", "L", "T", "D", "G")


def correct(
    desk: Desk, key: str, record: Surgery | Examination, *, today: date, stamp: Stamp
) -> str:
    """Supersede `key` by `record`; raises RecordError when the rest would contradict it."""
    number = key.partition("/")[0]
    with desk.store.transaction() as tx:
        case = tx.case(number)
        others = _without(case, key)
        if isinstance(record, Surgery):
            case = replace(others, surgeries=(*others.surgeries, replace(record, id=key)))
        else:
            case = replace(others, examinations=(*others.examinations, replace(record, id=key)))
        _check_whole(case, today)
        tx.correct(key, record, stamp, tx.version(key))
    return key


def withdraw(desk: Desk, key: str, *, today: date, stamp: Stamp) -> str:
    """Mark `key` as entered in error; raises RecordError when what is left contradicts itself."""
    with desk.store.transaction() as tx:
        if owner(key) == WORDS:
            pass  # Nothing recorded rests on a review.
        elif "/" in key:
            _check_whole(_without(tx.case(key.partition("/")[0]), key), today)
        elif _holds_facts(tx.case(key)):
            raise RecordError(
                "facts are recorded about this child.",
                where=key,
                do="Withdraw each of them first; to end care, use: rehab child end",
            )
        tx.withdraw(key, stamp, tx.version(key))
    return key


def _holds_facts(case: Case) -> bool:
    facts = (case.surgeries, case.examinations, case.regimens, case.appointments)
    return any((*facts, case.prescriptions)) or case.ending is not None


def _without(case: Case, key: str) -> Case:
    """The case without the fact of `key`; an ending or a contact holds up nothing else."""
    if key.partition("/")[2][:1] in STANDS_ALONE:
        return case
    known = {s.id for s in case.surgeries} | {e.id for e in case.examinations}
    known |= {r.id for r in case.regimens} | {a.id for a in case.appointments}
    if key not in known:
        raise RecordError(
            "this is not recorded, or already withdrawn.",
            where=key,
            do=f"See what is: rehab child show {case.child.number}",
        )
    return replace(
        case,
        surgeries=tuple(s for s in case.surgeries if s.id != key),
        examinations=tuple(e for e in case.examinations if e.id != key),
    )


def _check_whole(case: Case, today: date) -> None:
    """Each operation must follow those before it, each examination fit them all."""
    surgeries = sorted(case.surgeries, key=lambda s: (s.on, s.id))
    for index, surgery in enumerate(surgeries):
        check_surgery(replace(case, surgeries=tuple(surgeries[:index])), surgery, today)
    whole = replace(case, surgeries=tuple(surgeries))
    for examination in case.examinations:
        check_examination(whole, examination, today)
