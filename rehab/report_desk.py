"""The figures of the whole clinic: every child is read once, counted, and let go."""

from collections import Counter
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from rehab.care.case import Case, CheckKind, EndingKind, LensStatus
from rehab.care.figures import (
    AtPoint,
    Attended,
    NoDate,
    Period,
    Window,
    attendance,
    attendance_of,
    corrections_of,
    operated_on,
    windows,
    without_date,
)
from rehab.care.loss import loss_of
from rehab.care.proportion import Share, caution
from rehab.care.survival import Curve, Followed, kaplan_meier
from rehab.care.timeliness import Done, checks_done
from rehab.errors import RecordError, RehabError
from rehab.processes import Numbers, in_batches
from rehab.rules.protocol import Protocol
from rehab.workflow import Desk


class Figure(StrEnum):
    """What can be counted."""

    ATTENDANCE = "attendance"
    CORRECTION = "correction"
    WINDOWS = "windows"
    NO_DATE = "no-date"
    LOSS = "loss"


OF_THE_OPERATED = {Figure.ATTENDANCE, Figure.CORRECTION, Figure.LOSS}


@dataclass(frozen=True, slots=True)
class Asked:
    """Which figures of what fell due or happened in `days`, as known on `today`.

    `operated` chooses children by the day of their first lens removal.
    """

    figures: Collection[Figure]
    days: Period
    operated: Period
    today: date


@dataclass(frozen=True, slots=True)
class Checks:
    """The checks of one kind that fell due, in how many children, and what became of them."""

    kind: CheckKind
    children: int
    done: tuple[tuple[Done, int], ...]

    @property
    def inside(self) -> Share:
        return Share(dict(self.done)[Done.INSIDE], sum(number for _, number in self.done))

    @property
    def caution(self) -> str:
        return caution(self.children)


@dataclass(frozen=True, slots=True)
class Report:
    """What was counted; a figure that was not asked for is empty.

    `corrections` are of all eyes, then by what the operation left the eye with; `ends` say what
    following ended with, and `lost_in_days` how many were lost in the days asked for; `failed` are
    children whose plan could not be replayed, each with why.
    """

    asked: Asked
    protocol: Protocol
    children: int
    operated: int
    attendance: tuple[AtPoint, ...]
    corrections: tuple[tuple[str, Curve], ...]
    checks: tuple[Checks, ...]
    no_date: tuple[NoDate, ...]
    loss: Curve
    ends: tuple[tuple[str, int], ...]
    lost_in_days: int
    failed: tuple[tuple[str, str], ...]


@dataclass(slots=True)
class _Counts:
    """What the children add up to while they are read."""

    points: tuple[Window, ...]
    children: int = 0
    operated: int = 0
    attended: Counter[tuple[str, Attended | EndingKind]] = field(default_factory=Counter)
    corrected: dict[LensStatus, Counter[Followed]] = field(default_factory=dict)
    checks: Counter[tuple[CheckKind, Done]] = field(default_factory=Counter)
    with_checks: Counter[CheckKind] = field(default_factory=Counter)
    no_date: list[NoDate] = field(default_factory=list)
    followed: Counter[Followed] = field(default_factory=Counter)
    ends: Counter[str] = field(default_factory=Counter)
    lost_in_days: int = 0
    failed: list[tuple[str, str]] = field(default_factory=list)

    def add(self, others: "_Counts") -> None:
        """The counts of other children."""
        self.children += others.children
        self.operated += others.operated
        self.attended += others.attended
        for left, followed in others.corrected.items():
            self.corrected.setdefault(left, Counter()).update(followed)
        self.checks += others.checks
        self.with_checks += others.with_checks
        self.no_date += others.no_date
        self.followed += others.followed
        self.ends += others.ends
        self.lost_in_days += others.lost_in_days
        self.failed += others.failed


def report(desk: Desk, asked: Asked, told: Callable[[int], None] = lambda children: None) -> Report:
    """Raises RecordError when there is nobody to count; `told` hears of children as they are."""
    counts = _Counts(windows(desk.protocol, asked.today))
    for batch in in_batches(desk, desk.store.numbers(), _counted, asked):
        counts.add(batch)
        told(batch.children)
    _check_somebody(counts, asked)
    return Report(
        asked,
        desk.protocol,
        counts.children,
        counts.operated,
        attendance(counts.attended, counts.points, desk.protocol, asked.today),
        tuple(_corrections(counts)),
        tuple(_checks(counts)),
        tuple(sorted(counts.no_date, key=lambda n: (n.last_seen or date.min, n.number))),
        kaplan_meier(counts.followed),
        tuple(sorted(counts.ends.items(), key=lambda end: (-end[1], end[0]))),
        counts.lost_in_days,
        tuple(sorted(counts.failed)),
    )


def _counted(desk: Desk, numbers: Numbers, asked: Asked) -> _Counts:
    counts = _Counts(windows(desk.protocol, asked.today))
    for case in desk.store.cases(numbers):
        counts.children += 1
        try:
            for figure in asked.figures:
                _count(counts, figure, case, desk.protocol, asked)
        except RehabError as error:
            counts.failed.append((case.child.number, str(error)))
        counts.operated += _in_cohort(case, asked)
    return counts


def _in_cohort(case: Case, asked: Asked) -> bool:
    start = operated_on(case, asked.today)
    return start is not None and asked.operated.holds(start)


def _count(counts: _Counts, figure: Figure, case: Case, protocol: Protocol, asked: Asked) -> None:
    today = asked.today
    match figure:
        case Figure.WINDOWS if not asked.operated.limited or _in_cohort(case, asked):
            found = Counter(checks_done(case, protocol, asked.days, today))
            counts.checks += found
            counts.with_checks.update({kind for kind, _ in found})
        case Figure.NO_DATE if not asked.operated.limited or _in_cohort(case, asked):
            waits = without_date(case, today)
            counts.no_date += [waits] if waits else []
        case _ if not _in_cohort(case, asked):
            return
        case Figure.ATTENDANCE:
            counts.attended.update(attendance_of(case, counts.points, today, asked.days))
        case Figure.CORRECTION:
            for left, followed in corrections_of(case, today, asked.days):
                counts.corrected.setdefault(left, Counter())[followed] += 1
        case Figure.LOSS:
            lost = loss_of(case, protocol, today)
            if lost is not None:
                counts.followed[lost[0]] += 1
                counts.ends[lost[1]] += 1
                counts.lost_in_days += _lost_in(asked.days, case, lost[0], today)


def _lost_in(days: Period, case: Case, followed: Followed, today: date) -> bool:
    start = operated_on(case, today)
    return followed.happened and start is not None and days.holds(start + followed.time)


def _corrections(counts: _Counts) -> Iterator[tuple[str, Curve]]:
    if counts.corrected:
        yield "all eyes", kaplan_meier(sum(counts.corrected.values(), Counter()))
    for left in sorted(counts.corrected):
        yield left.value, kaplan_meier(counts.corrected[left])


def _checks(counts: _Counts) -> Iterator[Checks]:
    for kind in CheckKind:
        if counts.with_checks[kind]:
            done = tuple((done, counts.checks[kind, done]) for done in Done)
            yield Checks(kind, counts.with_checks[kind], done)


def _check_somebody(counts: _Counts, asked: Asked) -> None:
    if not counts.children:
        raise RecordError(
            "no child is recorded, so there is nothing to count.",
            where="report",
            do="Register children first: rehab child add",
        )
    if not counts.operated and OF_THE_OPERATED & set(asked.figures):
        raise RecordError(
            f"no child had its lens removed ({asked.operated}, as known on {asked.today}).",
            where="report",
            do="Check --operated-from, --operated-until and --today, or record the surgeries.",
        )
