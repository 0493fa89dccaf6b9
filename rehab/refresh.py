"""Plans of the whole clinic: each child planned anew, on all processors, stopped at any moment."""

import os
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from datetime import date, timedelta
from hashlib import sha256
from multiprocessing import get_context

from rehab import __version__
from rehab.care.case import Case
from rehab.care.changes import ChangeKind, Entry, describe_changes, follow
from rehab.care.plan import Plan
from rehab.care.recall import place, recall_list, to_content
from rehab.errors import RehabError
from rehab.recall_text import block, heading
from rehab.settings import Settings
from rehab.store.recall_lines import MadeWith, StoredLine
from rehab.workflow import Desk, open_desk, plan_of

LOOK_AHEAD = timedelta(days=14)
CHILDREN_AT_ONCE = 50
# Below this, starting more processes takes longer than the planning itself.
WORTH_PROCESSES = 500
BATCHES_WAITING = 4

Numbers = tuple[str, ...]
Sentences = tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class Batch:
    """What came of some children: `again` were changed by someone else while they were planned.

    `changes` are the sentences on each calendar that changed, `failed` those without a plan.
    """

    planned: int
    again: Numbers
    changes: Sentences
    failed: Sentences


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


def out_of_date(desk: Desk, work: Work) -> Numbers:
    """The children whose plan, made with the same, is not there."""
    return desk.store.out_of_date(work.made, followed=work.follow)


def refresh_all(
    desk: Desk, numbers: Numbers, work: Work, processes: int | None = None
) -> Iterator[Batch]:
    """Plans these children, a batch at a time; what was yielded is written, whenever it ends."""
    wanted = processes or os.cpu_count() or 1
    if len(numbers) < WORTH_PROCESSES or wanted == 1:
        yield from _here(desk, numbers, work)
        return
    try:
        yield from _everywhere(desk.settings, numbers, work, wanted)
    except BrokenProcessPool:
        raise RehabError(
            "one of the processes that plan was ended from outside.",
            do="What was planned is kept. Run the same command again: it goes on from there.",
        ) from None


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
    failed: dict[str, tuple[str, ...]] = {}
    for number, case in cases.items():
        try:
            plan: Plan | RehabError = plan_of(desk, case, today=work.made.on)
        except RehabError as error:
            plan = error
            failed[number] = (f"no plan can be made: {error}",)
        if isinstance(plan, Plan) and work.follow:
            followed[number] = follow(entries[number], plan)
        lines[number] = _line(desk, case, plan, work, revisions[number])
    with desk.store.transaction() as tx:
        now = tx.revisions(numbers)
        kept = {number: line for number, line in lines.items() if line.revision == now[number]}
        tx.set_entries_of({n: found for n, found in followed.items() if n in kept})
        tx.set_recall_lines(work.made, kept.values())
    changes = ((n, _sentences(entries[n], after)) for n, after in followed.items() if n in kept)
    return Batch(
        len(kept),
        tuple(number for number in lines if number not in kept),
        tuple((number, sentences) for number, sentences in changes if sentences),
        tuple((number, why) for number, why in failed.items() if number in kept),
    )


def _sentences(before: tuple[Entry, ...], after: tuple[Entry, ...]) -> tuple[str, ...]:
    changes = describe_changes(before, after)
    return tuple(c.sentence for c in changes if c.kind is not ChangeKind.KEPT)


def _line(desk: Desk, case: Case, plan: Plan | RehabError, work: Work, revision: int) -> StoredLine:
    today = work.made.on
    by = today + LOOK_AHEAD
    listed = recall_list(((case, plan),), desk.protocol, today=today, by=by, why_shut=desk.why_shut)
    blank = StoredLine(case.child.number, revision, work.follow)
    if not listed:
        return blank
    (line,) = listed
    return replace(
        blank,
        place=place(line),
        heading=heading(line),
        block=block(line, today),
        content=to_content(line),
    )
