"""The clinic's diary at the desk: what is recorded in it, changed, closed, and who is affected."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from rehab.care.booking import in_words
from rehab.care.case import Appointment
from rehab.care.diary import Closure, Diary, Holiday, Session, SessionPattern, Site
from rehab.care.session_room import offers
from rehab.care.tracing import arranged
from rehab.clinic_days import with_closed_days
from rehab.diary_checks import (
    check_closure,
    check_holiday,
    check_known,
    check_pattern,
    check_site,
)
from rehab.errors import RecordError
from rehab.session_dates import session_of, sessions_and_shut, why_shut
from rehab.store.store import Stamp, Transaction
from rehab.store.versions import DiaryRecord, diary_key, who_when_why
from rehab.workflow import Desk, plan_of

ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Affected:
    """A child booked on a day on which it cannot be seen as booked, now or any more, and why."""

    number: str
    name: str
    appointment: Appointment
    why: str


@dataclass(frozen=True, slots=True)
class Changed:
    """What was recorded under `key`, and the children who come on the recall list by it.

    Those of `held_again` can be seen as booked after all: some may have been told not to come.
    """

    key: str
    record: DiaryRecord
    affected: tuple[Affected, ...] = ()
    held_again: tuple[Affected, ...] = ()


@dataclass(frozen=True, slots=True)
class Copied:
    """What a copied list of holidays brought: only days of which nothing was ever recorded.

    `kept` are days as the clinic has them, withdrawn ones too; `elsewhere` are days once copied as
    an estimate that the list now puts on other days.
    """

    added: tuple[Holiday, ...]
    kept: int
    elsewhere: tuple[Holiday, ...]
    affected: tuple[Affected, ...]


@dataclass(frozen=True, slots=True)
class SessionLine:
    """A session with what is booked into it; `why_shut` where it is not held."""

    session: Session
    why_shut: str
    children: int
    minutes: int


def add(desk: Desk, record: DiaryRecord, *, today: date, stamp: Stamp) -> Changed:
    """Raises RecordError for a record that cannot be, and for a code that was used before."""

    def write(tx: Transaction, diary: Diary) -> tuple[str, DiaryRecord]:
        _check(record, diary)
        _refuse_used(tx, record)
        return tx.add_to_diary(record, stamp), record

    return _written(desk, write, today, stamp)


def change(
    desk: Desk,
    key: str,
    changes: Mapping[str, Any],
    *,
    today: date,
    stamp: Stamp,
    seen: int | None = None,
) -> Changed:
    """Gives some fields of a record new values; `seen` is the version that the person looked at."""

    def write(tx: Transaction, diary: Diary) -> tuple[str, DiaryRecord]:
        before = _current(tx, key)
        after = replace(before, **changes)
        if after == before:
            raise RecordError(
                "nothing would change.", where=key.removeprefix("@"), do="Say what is new."
            )
        _check(after, diary)
        tx.correct(key, after, stamp, tx.version(key) if seen is None else seen)
        return key, after

    return _written(desk, write, today, stamp)


def remove(desk: Desk, key: str, *, today: date, stamp: Stamp) -> Changed:
    """Withdraws a record; its history stays. A site where sessions are held cannot go."""

    def write(tx: Transaction, diary: Diary) -> tuple[str, DiaryRecord]:
        record = _current(tx, key)
        held = [
            p.code for p in diary.patterns if isinstance(record, Site) and p.site == record.code
        ]
        if held:
            raise RecordError(
                f"sessions are held at this site: {', '.join(held)}.",
                where=key.removeprefix("@"),
                do="Remove them first, or change their site.",
            )
        tx.withdraw(key, stamp, tx.version(key))
        return key, record

    return _written(desk, write, today, stamp)


def close(desk: Desk, closure: Closure, *, today: date, stamp: Stamp) -> Changed:
    """Records a closure under its first day; a second one that begins there gets a number."""

    def write(tx: Transaction, diary: Diary) -> tuple[str, DiaryRecord]:
        _check(closure, diary)
        used = {version.key for version in tx.latest_in_diary(Closure)}
        codes = (f"{closure.start}{f'-{n}' if n > 1 else ''}" for n in range(1, len(used) + 2))
        coded = next(made for c in codes if diary_key(made := replace(closure, code=c)) not in used)
        return tx.add_to_diary(coded, stamp), coded

    return _written(desk, write, today, stamp)


def add_holiday(desk: Desk, holiday: Holiday, *, today: date, stamp: Stamp) -> Changed:
    """Records a holiday, or brings back one that the clinic had removed."""

    def write(tx: Transaction, diary: Diary) -> tuple[str, DiaryRecord]:
        _check(holiday, diary)
        key = diary_key(holiday)
        known = {version.key: version for version in tx.latest_in_diary(Holiday)}.get(key)
        if known is not None and known.withdrawn:
            reasoned = replace(stamp, reason=stamp.reason or "kept again")
            tx.correct(key, holiday, reasoned, known.version)
            return key, holiday
        _refuse_used(tx, holiday)
        return tx.add_to_diary(holiday, stamp), holiday

    return _written(desk, write, today, stamp)


def copy_holidays(desk: Desk, holidays: Iterable[Holiday], *, today: date, stamp: Stamp) -> Copied:
    """Adds the holidays of which nothing was ever recorded, and leaves all others alone."""
    listed = {diary_key(holiday): holiday for holiday in holidays}
    places = {(h.country, h.region) for h in listed.values()}
    years = {h.on.year for h in listed.values()}
    with desk.store.transaction() as tx:
        before = tx.diary()
        known = {version.key for version in tx.latest_in_diary(Holiday)}
        new = [holiday for key, holiday in listed.items() if key not in known]
        for holiday in new:
            tx.add_to_diary(holiday, stamp)
        after = tx.diary()
    elsewhere = tuple(
        h
        for h in before.holidays
        if h.estimated
        and (h.country, h.region) in places
        and h.on.year in years
        and diary_key(h) not in listed
    )
    return Copied(
        tuple(new), len(listed) - len(new), elsewhere, _affected(desk, before, after, today)
    )


def lines(desk: Desk, start: date, until: date, site: str = "") -> tuple[SessionLine, ...]:
    """The sessions from `start` to before `until`, also those that are shut, with their room."""
    diary = with_closed_days(desk.store.diary(), desk.settings.clinic)
    if site:
        check_known("site", site, (one.code for one in diary.sites))
    there: dict[str, list[Appointment]] = {}
    for _, appointment in desk.store.booked(start, until):
        there.setdefault(appointment.session, []).append(appointment)
    return tuple(
        SessionLine(
            session,
            why,
            len(there.get(session.id, ())),
            sum(appointment.minutes for appointment in there.get(session.id, ())),
        )
        for session, why in sessions_and_shut(diary, start, until)
        if site in ("", session.site)
    )


def overfull(desk: Desk, pattern: str, start: date, until: date) -> tuple[SessionLine, ...]:
    """The sessions of a pattern in which more minutes are booked than there are."""
    return tuple(
        line
        for line in lines(desk, start, until)
        if line.session.pattern == pattern and line.minutes > line.session.capacity_minutes
    )


def not_offered(desk: Desk, pattern: str, today: date) -> tuple[Affected, ...]:
    """The children booked into the sessions of a pattern for checks that these do not offer."""
    diary = desk.store.diary()
    there = [
        (number, appointment, session)
        for number, appointment in desk.store.expected(today)
        if (session := session_of(diary, appointment.session)) and session.pattern == pattern
    ]
    cases = {c.child.number: c for c in desk.store.cases(sorted({number for number, *_ in there}))}
    found = []
    for number, appointment, session in there:
        visits = plan_of(desk, cases[number], today=today).visits
        here = (v for v in visits if v.appointment and v.appointment.id == appointment.id)
        kinds = next((visit.kinds for visit in here), frozenset())
        if not offers(session, kinds):
            why = in_words(sorted(kinds)) or "a visit to the clinic"
            found.append(Affected(number, cases[number].child.name, appointment, why))
    return tuple(found)


def _written(
    desk: Desk,
    write: Callable[[Transaction, Diary], tuple[str, DiaryRecord]],
    today: date,
    stamp: Stamp,
) -> Changed:
    """What `write` records in one transaction, and whom it affects.

    Whoever can be seen as booked after all counts as told nothing: some were told not to come.
    """
    with desk.store.transaction() as tx:
        before = tx.diary()
        key, record = write(tx, before)
        after = tx.diary()
        held_again = tuple(
            one
            for one in _affected(desk, after, before, today)
            if not why_shut(after, one.appointment)
        )
        for one in held_again:
            anew = arranged(one.appointment, tx.case(one.number), today)
            reasoned = replace(stamp, reason=f"held again: {stamp.reason}".rstrip(": "))
            tx.correct(anew.id, anew, reasoned, tx.version(anew.id))
    return Changed(key, record, _affected(desk, before, after, today), held_again)


def _affected(desk: Desk, before: Diary, after: Diary, today: date) -> tuple[Affected, ...]:
    """The children booked from `today` on whose day is shut, or shut for another reason, now."""
    shut = [
        (number, appointment, why)
        for number, appointment in desk.store.expected(today)
        if (why := why_shut(after, appointment)) and why != why_shut(before, appointment)
    ]
    cases = {c.child.number: c for c in desk.store.cases(sorted({number for number, *_ in shut}))}
    return tuple(
        Affected(number, cases[number].child.name, appointment, why)
        for number, appointment, why in shut
        if (ending := cases[number].ending) is None or ending.on > appointment.on
    )


def _refuse_used(tx: Transaction, record: DiaryRecord) -> None:
    key = diary_key(record)
    used = {version.key: version for version in tx.latest_in_diary(type(record))}.get(key)
    if used is None:
        return
    name = key.removeprefix("@")
    if used.withdrawn:
        raise RecordError(
            f"this was recorded once and removed by {who_when_why(used)}.",
            where=name,
            do="Use another code.",
        )
    raise RecordError(
        "this is in the diary already.",
        where=name,
        do="Give the other one another code, or change this one."
        if not isinstance(record, Holiday)
        else "Remove it first, if it is wrong.",
    )


def _current(tx: Transaction, key: str) -> DiaryRecord:
    latest = tx.latest(key)
    if latest.withdrawn or not isinstance(latest.record, DiaryRecord):
        raise RecordError(
            "this is not in the diary any more.",
            where=key.removeprefix("@"),
            do=f"See what became of it with: rehab diary history {key.removeprefix('@')}",
        )
    return latest.record


def _check(record: DiaryRecord, diary: Diary) -> None:
    if isinstance(record, Site):
        check_site(record)
    elif isinstance(record, SessionPattern):
        check_pattern(record, diary)
    elif isinstance(record, Closure):
        check_closure(record, diary)
    else:
        check_holiday(record)
