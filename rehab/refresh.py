"""Plans of the whole clinic: each child planned anew, on all processors, stopped at any moment."""

import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, replace
from datetime import date, timedelta
from hashlib import sha256
from multiprocessing import get_context

from rehab import __version__
from rehab.care.case import Case
from rehab.care.changes import Entry, follow
from rehab.care.plan import Plan
from rehab.care.recall import Recall, recall_list
from rehab.errors import RehabError
from rehab.settings import Settings
from rehab.store.recall_lines import MadeWith, StoredLine
from rehab.workflow import Desk, open_desk, plan_of

LOOK_AHEAD = timedelta(days=14)
CHILDREN_AT_ONCE = 50
# Below this, starting more processes takes longer than the planning itself.
WORTH_PROCESSES = 500
BATCHES_WAITING = 4

Numbers = tuple[str, ...]
Told = Callable[[int], None]


@dataclass(frozen=True, slots=True)
class Batch:
    """What came of some children: `again` were changed by someone else while they were planned."""

    planned: int
    again: Numbers
    failed: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Refreshed:
    """How many children were planned, and those that have no plan, each with why."""

    planned: int
    failed: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Work:
    """What is to be done with each child; `follow` brings its calendar into line as well."""

    made: MadeWith
    follow: bool


def made_with(desk: Desk, today: date) -> MadeWith:
    """What the plans of today follow from, besides the facts of each child."""
    tables = [
        edition.table.digest
        for decision in sorted(desk.protocol.editions)
        for edition in desk.protocol.editions[decision]
    ]
    parts = (__version__, tables, desk.settings.clinic, desk.store.diary_revision())
    return MadeWith(today, sha256(repr(parts).encode()).hexdigest())


def refresh_all(
    desk: Desk,
    *,
    today: date,
    follow: bool = True,
    processes: int | None = None,
    started: Told = lambda total: None,
    told: Told = lambda planned: None,
) -> Refreshed:
    """Plans the children whose plan of today is out of date; what is done is done if it ends here.

    `started` is told how many there are, `told` how many more are done, time and again.
    """
    work = Work(made_with(desk, today), follow)
    numbers = desk.store.out_of_date(work.made, followed=follow)
    started(len(numbers))
    wanted = processes or os.cpu_count() or 1
    if len(numbers) < WORTH_PROCESSES or wanted == 1:
        return _gathered(_here(desk, numbers, work), told)
    return _gathered(_everywhere(desk.settings, numbers, work, wanted), told)


def _gathered(batches: Iterator[Batch], told: Told) -> Refreshed:
    planned, failed = 0, []
    for batch in batches:
        planned += batch.planned
        failed += batch.failed
        told(batch.planned)
    return Refreshed(planned, tuple(sorted(failed)))


def _here(desk: Desk, numbers: Numbers, work: Work) -> Iterator[Batch]:
    waiting = deque(_batches(numbers))
    while waiting:
        batch = _plan_batch(desk, waiting.popleft(), work)
        waiting.extend(_batches(batch.again))
        yield batch


def _everywhere(
    settings: Settings, numbers: Numbers, work: Work, processes: int
) -> Iterator[Batch]:
    waiting = deque(_batches(numbers))
    running: set[Future[Batch]] = set()
    with ProcessPoolExecutor(
        processes, get_context("spawn"), initializer=_open_here, initargs=(settings,)
    ) as pool:
        while waiting or running:
            while waiting and len(running) < processes * BATCHES_WAITING:
                running.add(pool.submit(_plan_in_process, waiting.popleft(), work))
            done, running = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                batch = future.result()
                waiting.extend(_batches(batch.again))
                yield batch


def _batches(numbers: Sequence[str]) -> Iterator[Numbers]:
    for start in range(0, len(numbers), CHILDREN_AT_ONCE):
        yield tuple(numbers[start : start + CHILDREN_AT_ONCE])


_desk_here: list[Desk] = []


def _open_here(settings: Settings) -> None:
    _desk_here.append(open_desk(settings))


def _plan_in_process(numbers: Numbers, work: Work) -> Batch:
    return _plan_batch(_desk_here[0], numbers, work)


def _plan_batch(desk: Desk, numbers: Numbers, work: Work) -> Batch:
    """Plans outside any transaction, so that nobody waits, and writes what is still true."""
    cases, entries, revisions = desk.store.planning(numbers)
    lines: dict[str, StoredLine] = {}
    followed: dict[str, tuple[Entry, ...]] = {}
    failed: list[tuple[str, str]] = []
    for number, case in cases.items():
        try:
            plan: Plan | RehabError = plan_of(desk, case, today=work.made.on)
        except RehabError as error:
            plan = error
            failed.append((number, str(error)))
        if isinstance(plan, Plan) and work.follow:
            followed[number] = follow(entries[number], plan)
        lines[number] = _line(desk, case, plan, work, revisions[number])
    with desk.store.transaction() as tx:
        now = tx.revisions(numbers)
        kept = {number: line for number, line in lines.items() if line.revision == now[number]}
        tx.set_entries_of({n: found for n, found in followed.items() if n in kept})
        tx.set_recall_lines(work.made, kept.values())
    return Batch(
        len(kept),
        tuple(number for number in lines if number not in kept),
        tuple((number, why) for number, why in failed if number in kept),
    )


def place(line: Recall) -> str:
    return f"{line.urgency}{line.child.number}"


def cells(line: Recall) -> tuple[str, ...]:
    return (line.child.name, "", "", "", "; ".join(line.reasons), "", "", "", "", "")


def _line(desk: Desk, case: Case, plan: Plan | RehabError, work: Work, revision: int) -> StoredLine:
    today = work.made.on
    listed = recall_list(((case, plan),), desk.protocol, today=today, by=today + LOOK_AHEAD)
    blank = StoredLine(case.child.number, revision, work.follow)
    return blank if not listed else replace(blank, place=place(listed[0]), cells=cells(listed[0]))
