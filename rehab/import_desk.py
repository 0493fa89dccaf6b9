"""A clinic's table taken into the records: every line judged first, then all written or none."""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import islice

from rehab.care.case import Case
from rehab.care.likeness import Likenesses
from rehab.errors import RecordError, RehabError
from rehab.import_compare import Change, check_to_come, compare
from rehab.import_files import Row, Table
from rehab.import_lines import Meaning, Told, read_line
from rehab.measures.written_dates import DateOrder
from rehab.store.new_cases import add_new_cases, numbers_ever_used, phones_of_contacts
from rehab.store.store import Stamp, Transaction
from rehab.workflow import Desk

LINES_AT_ONCE = 500


class Status(StrEnum):
    """What importing a line does."""

    NEW = "new"
    ADDS = "adds"
    UNCHANGED = "unchanged"
    FAILS = "cannot be taken"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What becomes of one line. `notes` are its problems, or what it adds."""

    row: Row
    told: Told
    status: Status
    notes: tuple[str, ...] = ()
    changes: tuple[Change, ...] = ()


@dataclass(frozen=True, slots=True)
class Job:
    """One file to be imported. Of the numbers in `not_duplicates` somebody has made sure that
    they are no child who is there under another number."""

    desk: Desk
    table: Table
    meaning: Meaning
    not_duplicates: frozenset[str] = frozenset()


@dataclass(slots=True)
class Tally:
    """How many lines come to what, and the days whose order was not told."""

    counts: Counter[Status] = field(default_factory=Counter)
    in_question: Counter[tuple[str, tuple[DateOrder, ...]]] = field(default_factory=Counter)

    def add(self, verdict: Verdict) -> None:
        self.counts[verdict.status] += 1
        self.in_question.update(verdict.told.days_in_question)


def judge(job: Job) -> Iterator[Verdict]:
    """What importing each line would do; writes nothing. Lines without any text are left out."""
    return _Judge(job).verdicts()


def write(job: Job, expected: Tally, stamp: Stamp, done: Callable[[Verdict], None]) -> None:
    """Write all lines that can be taken, in one transaction. `expected` is what was judged before:
    raises RecordError, and writes nothing, where the lines no longer come to that."""
    tally = Tally()
    # As writers take turns, nobody changes within this transaction what is read beside it.
    with job.desk.store.transaction() as tx:
        verdicts = judge(job)
        while batch := list(islice(verdicts, LINES_AT_ONCE)):
            new = []
            for verdict in batch:
                tally.add(verdict)
                because = _because(job, verdict, stamp)
                if verdict.status is Status.NEW and verdict.told.case is not None:
                    new.append((verdict.told.case, because))
                for change in verdict.changes:
                    _apply(tx, verdict.told.number, change, because)
            add_new_cases(tx, new)
            for verdict in batch:
                done(verdict)
        if tally.counts != expected.counts:
            raise RecordError(
                "the records or the file changed between checking and writing.",
                where=str(job.table.path),
                do="Nothing was written. Do it again.",
            )


def _because(job: Job, verdict: Verdict, stamp: Stamp) -> Stamp:
    place = f"{job.table.path.name}, line {verdict.row.line}"
    return replace(stamp, reason=f"{stamp.reason or 'import'} ({place})")


def _apply(tx: Transaction, number: str, change: Change, because: Stamp) -> None:
    if change.key:
        tx.correct(change.key, change.fact, because, tx.version(change.key))
    else:
        tx.add(number, change.fact, because)


class _Judge:
    """Judges lines in the order of the file; remembers whom it has seen."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.lines: dict[str, int] = {}
        self.likenesses = Likenesses()
        self.known: set[str] = set()
        store = job.desk.store
        phones = phones_of_contacts(store)
        for child in store.children():
            self.known.add(child.number)
            self.likenesses.add(child, phones.get(child.number, ""))
        self.withdrawn = numbers_ever_used(store) - self.known

    def verdicts(self) -> Iterator[Verdict]:
        rows = (row for row in self.job.table.rows() if row.cells or row.problem)
        while batch := list(islice(rows, LINES_AT_ONCE)):
            numbers = {row.cells.get("number", "") for row in batch} & self.known
            cases = self.job.desk.store.cases(sorted(numbers))
            recorded = {case.child.number: case for case in cases}
            for row in batch:
                yield self._verdict(row, recorded)

    def _verdict(self, row: Row, recorded: dict[str, Case]) -> Verdict:
        if row.problem:
            number = row.cells.get("number", "")
            return Verdict(row, Told(number, None, frozenset()), Status.FAILS, (row.problem,))
        told = read_line(row.cells, self.job.meaning)
        first = self.lines.setdefault(told.number, row.line) if told.number else row.line
        problems = list(told.problems)
        if first != row.line:
            problems.append(f"{told.number} stands on line {first} too: give each child one line.")
        if told.case is None or problems:
            return Verdict(row, told, Status.FAILS, tuple(problems))
        if told.number in recorded:
            return self._of_known(row, told, recorded[told.number])
        return self._of_new(row, told, told.case)

    def _of_known(self, row: Row, told: Told, recorded: Case) -> Verdict:
        found = compare(recorded, told, self.job.meaning.today)
        if found.differences:
            return Verdict(row, told, Status.FAILS, found.differences)
        if not found.changes:
            return Verdict(row, told, Status.UNCHANGED)
        notes = tuple(f"adds {change.what}." for change in found.changes)
        return Verdict(row, told, Status.ADDS, notes, found.changes)

    def _of_new(self, row: Row, told: Told, case: Case) -> Verdict:
        problems = []
        try:
            check_to_come(case, self.job.meaning.today)
        except RehabError as error:
            problems.append(f"{error.what} {error.do}")
        if told.number in self.withdrawn:
            problems.append("this number was withdrawn: it never means another child.")
        phone = next((c.phone for c in case.contacts), "")
        if told.number not in self.job.not_duplicates:
            for other, why in self.likenesses.like(case.child, phone):
                at = f" (line {self.lines[other]})" if other in self.lines else ", recorded"
                problems.append(
                    f"may be {other}{at}: born on the same day, {why}. If they are two children: "
                    f"--not-duplicate {told.number}"
                )
        self.likenesses.add(case.child, phone)
        status = Status.FAILS if problems else Status.NEW
        return Verdict(row, told, status, tuple(problems))


def about_dates(tally: Tally) -> Iterator[str]:
    """For each column in which the order of days was not told, the orders that it would allow."""
    for column in dict.fromkeys(column for column, _ in tally.in_question):
        found = {fits: n for (of, fits), n in tally.in_question.items() if of == column}
        whole = sum(found.values())
        fit = {o: sum(n for fits, n in found.items() if o in fits) for o in DateOrder}
        all_fit = [order for order, n in fit.items() if n == whole]
        would_be = f"all {whole} dates would be days" if whole > 1 else "its date would be a day"
        some = ", ".join(f"{n} as {order}" for order, n in fit.items() if n)
        if not all_fit:
            yield (
                f"{column}: the dates are mixed. No one order makes all {whole} of them days "
                f"({some}): find out which lines were written otherwise."
            )
        elif len(all_fit) == 1:
            yield f"{column}: {would_be} as {all_fit[0]} ({some})."
        else:
            yield f"{column}: {would_be} as {' and as '.join(all_fit)}."
