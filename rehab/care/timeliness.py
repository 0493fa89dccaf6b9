"""Whether checks were done inside their windows, by replaying what each child's plan had asked.

From one fact to the next the plan stands still. For each such stretch the checks are asked for
anew with what was known at its start, and an examination at its end settles one check of a series
at most: the one whose window is open, else the last one missed. A child who stays away misses
every check that its last plan held. A correction of a record is read as if it had been known.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from enum import StrEnum
from itertools import pairwise

from rehab.care.case import Case, CheckKind, Eye, Regimen
from rehab.care.checks import Check, Horizon, due_checks, settles
from rehab.care.facts import known_on
from rehab.care.figures import Period, watched_until
from rehab.rules.protocol import Because, Protocol

# How far beyond a stretch its plan is read: a check done so much too early is still told as early.
AHEAD = timedelta(days=400)
Key = tuple[CheckKind, Eye]


class Done(StrEnum):
    INSIDE = "inside"
    EARLY = "early"
    LATE = "late"
    NOT_DONE = "not done"


@dataclass(slots=True)
class _Replay:
    """What has been told so far, and the checks that were missed and may still be done late."""

    told: set[str] = field(default_factory=set)
    missed: dict[Key, list[Check]] = field(default_factory=dict)

    def tell(self, check: Check, done: Done) -> Iterator[tuple[Check, Done]]:
        if check.key not in self.told:
            self.told.add(check.key)
            yield check, done


def checks_done(
    case: Case, protocol: Protocol, period: Period, today: date
) -> Iterator[tuple[CheckKind, Done]]:
    """Each check whose window closed in the period and before today, and what became of it."""
    until = watched_until(case, today)
    for check, done in _replayed(case, protocol, period, until):
        if check.latest < until and period.holds(check.latest):
            yield check.kind, done


def _replayed(
    case: Case, protocol: Protocol, period: Period, until: date
) -> Iterator[tuple[Check, Done]]:
    from_here = period.first - AHEAD if period.first else date.min
    replay = _Replay()
    open_now: tuple[Check, ...] = ()
    for start, stop in pairwise([*_days_of_facts(case, until), until]):
        checks: tuple[Check, ...] = ()
        if from_here <= stop and start <= (period.last or date.max):
            horizon = Horizon(start, stop + AHEAD)
            planned, _ = due_checks(_as_known(case, start), protocol, horizon)
            checks = (*planned, *_still_due(open_now, planned))
        ahead: dict[Key, list[Check]] = {}
        for check in sorted(checks, key=lambda c: c.ordinal):
            if check.latest < start or check.key in replay.told:
                continue
            passed = check.latest < stop
            into = replay.missed if passed else ahead
            mine = into.setdefault((check.kind, check.eye), [])
            if check.key not in {c.key for c in mine}:
                mine.append(check)
        for key in sorted(_settled_on(case, stop)):
            yield from _settle(replay, key, ahead.get(key, []), stop, protocol)
        open_now = tuple(c for mine in ahead.values() for c in mine if c.earliest <= stop)
    for missed in replay.missed.values():
        for check in missed:
            yield from replay.tell(check, Done.NOT_DONE)


def _still_due(open_now: tuple[Check, ...], planned: tuple[Check, ...]) -> Iterator[Check]:
    """Checks whose window was open, which a plan leaves to the overdue one before them."""
    keys = {check.key for check in planned}
    running = {(check.kind, check.eye, check.anchor) for check in planned}
    for check in open_now:
        if check.key not in keys and (check.kind, check.eye, check.anchor) in running:
            yield check


def _settle(
    replay: _Replay, key: Key, ahead: list[Check], on: date, protocol: Protocol
) -> Iterator[tuple[Check, Done]]:
    """One look: the check whose window is open, else the last one missed, else the next, early."""
    missed = replay.missed.pop(key, [])
    head = ahead[0] if ahead else None
    if head is not None and head.earliest <= on:
        yield from replay.tell(head, Done.INSIDE)
    elif missed:
        yield from replay.tell(missed.pop(), Done.LATE)
    elif head is not None and _counts_from_last(head.because, protocol):
        yield from replay.tell(head, Done.EARLY)
    for check in missed:
        yield from replay.tell(check, Done.NOT_DONE)


def _counts_from_last(because: Because, protocol: Protocol) -> bool:
    """Whether any look settles the check; one on a fixed grid stays due until its window opens."""
    editions = protocol.editions.get(because.decision, ())
    rows = (r for e in editions if e.table.digest == because.digest for r in e.table.rows)
    row = next((r for r in rows if r.id == because.row), None)
    return row is not None and dict(row.then).get("counted_from") == "last"


def _settled_on(case: Case, on: date) -> set[Key]:
    return {key for e in case.examinations if e.on == on for key in settles(e)}


def _days_of_facts(case: Case, until: date) -> list[date]:
    """The days on which something that a plan rests on happened, in order."""
    days = {e.on for e in case.examinations} | {s.on for s in case.surgeries}
    for r in case.regimens:
        days |= {day for day in (r.starts, r.ends, r.decided_on, r.paused_from) if day}
    return sorted(day for day in days if day < until)


def _as_known(case: Case, on: date) -> Case:
    """The case on that day; what was agreed on later about a regimen was not known yet."""
    return replace(known_on(case, on), regimens=tuple(_as_agreed(r, on) for r in case.regimens))


def _as_agreed(regimen: Regimen, on: date) -> Regimen:
    paused = regimen.paused_from
    known = replace(regimen, paused_from=paused if paused and paused <= on else None)
    if regimen.decided_on is None or regimen.decided_on <= on:
        return known
    return replace(known, review_on=None, decided_on=None)
