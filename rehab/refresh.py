"""Plans of the whole clinic: each child planned anew, on all processors, stopped at any moment."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from hashlib import sha256

from rehab import __version__
from rehab.care.case import Case
from rehab.care.changes import ChangeKind, Entry, describe_changes, follow
from rehab.care.plan import Plan
from rehab.care.recall import place, to_content
from rehab.errors import RehabError
from rehab.processes import Numbers, in_batches
from rehab.recall_text import block, heading
from rehab.store.recall_lines import MadeWith, StoredLine
from rehab.workflow import Desk, plan_or_why, recall_of

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


def bring_up_to_date(desk: Desk, today: date, *, follow: bool) -> None:
    """Plans every child whose plan of today is not there."""
    work = Work(made_with(desk, today), follow)
    for _ in refresh_all(desk, out_of_date(desk, work), work):
        pass


def refresh_all(
    desk: Desk, numbers: Numbers, work: Work, processes: int | None = None
) -> Iterator[Batch]:
    """Plans these children, a batch at a time; what was yielded is written, whenever it ends."""
    waiting = numbers
    while waiting:
        again: list[str] = []
        for batch in in_batches(desk, waiting, _plan_batch, work, processes):
            again += batch.again
            yield batch
        waiting = tuple(again)


def _plan_batch(desk: Desk, numbers: Numbers, work: Work) -> Batch:
    """Plans outside any transaction, so that nobody waits, and writes what is still true."""
    cases, entries, revisions = desk.store.planning(numbers)
    lines: dict[str, StoredLine] = {}
    followed: dict[str, tuple[Entry, ...]] = {}
    failed: dict[str, tuple[str, ...]] = {}
    for number, case in cases.items():
        plan = plan_or_why(desk, case, today=work.made.on)
        if isinstance(plan, RehabError):
            failed[number] = (f"no plan can be made: {plan}",)
        elif work.follow:
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
    line = recall_of(desk, case, plan, today=today)
    blank = StoredLine(case.child.number, revision, work.follow)
    if line is None:
        return blank
    return replace(
        blank,
        place=place(line),
        heading=heading(line),
        block=block(line, today),
        content=to_content(line),
    )
