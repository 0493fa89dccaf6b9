"""Figures of a clinic, counted one child at a time: attendance, first correction, no date ahead.

Time zero is the first lens removal. "Seen" is an examination, or an appointment that was attended.
What happened after `today` is not known yet; what is recorded after care ended does not count.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from rehab.care.case import Case, Correction, Ending, EndingKind, Eye, LensStatus, Outcome
from rehab.care.history import AFTER, lens_removal
from rehab.care.proportion import FEWEST, Share
from rehab.care.survival import Followed
from rehab.errors import RecordError
from rehab.measures.dates import Step
from rehab.rules.protocol import Because, Protocol
from rehab.rules.table import Outcome as Told

MOST_YEARS = 20
LATER = "later year"
WORN = (Correction.CONTACT_LENS, Correction.GLASSES)
FIRST_POINTS = (
    ("1 week", Step(days=7)),
    ("1 month", Step(months=1)),
    ("3 months", Step(months=3)),
    ("6 months", Step(months=6)),
    ("1 year", Step(months=12)),
)


@dataclass(frozen=True, slots=True)
class Period:
    """From `first` to `last`, both days included; None on either side means without limit."""

    first: date | None = None
    last: date | None = None

    def __post_init__(self) -> None:
        if self.first and self.last and self.first > self.last:
            raise RecordError(
                f"the period from {self.first} ends on {self.last}, before it starts.",
                where="report",
                do="Give a first day that is not after the last.",
            )

    def holds(self, on: date) -> bool:
        return (self.first or date.min) <= on <= (self.last or date.max)

    @property
    def limited(self) -> bool:
        return self != Period()

    def __str__(self) -> str:
        if not self.limited:
            return "all days"
        return " ".join(
            [*([f"from {self.first}"] if self.first else []),
             *([f"until {self.last}"] if self.last else [])]
        )  # fmt: skip


ALL_DAYS = Period()


def operated_on(case: Case, today: date) -> date | None:
    """The day of the first lens removal of either eye, as known today."""
    days = [s.on for eye in Eye if (s := lens_removal(case, eye)) and s.on <= today]
    return min(days, default=None)


def ended(case: Case, today: date) -> Ending | None:
    return case.ending if case.ending and case.ending.on <= today else None


def watched_until(case: Case, today: date) -> date:
    """Today, or the day on which care ended."""
    ending = ended(case, today)
    return ending.on if ending else today


def seen_days(case: Case, until: date) -> tuple[date, ...]:
    days = {e.on for e in case.examinations if e.on <= until}
    days |= {a.on for a in case.appointments if a.outcome is Outcome.ATTENDED and a.on <= until}
    return tuple(sorted(days))


def last_seen(case: Case, today: date) -> date | None:
    """The last day on which the child was here: seen, or operated."""
    until = watched_until(case, today)
    days = [*seen_days(case, until), *(s.on for s in case.surgeries if s.on <= until)]
    return max(days, default=None)


@dataclass(frozen=True, slots=True)
class Window:
    """A time point after lens removal and how far from it being seen still counts."""

    point: str
    step: Step
    early: timedelta
    late: timedelta
    because: Because


class Attended(StrEnum):
    """How one child stands to one time point; a word of EndingKind says that care had ended."""

    YES = "attended"
    NO = "not attended"
    NOT_YET = "not yet due"


@dataclass(frozen=True, slots=True)
class Published:
    """What happened in a published cohort at the same time point: no target."""

    percent: int
    children: int
    because: Because


@dataclass(frozen=True, slots=True)
class AtPoint:
    """Attendance at one time point; `left_out` are children whose care had ended, by how."""

    window: Window
    attended: Share
    not_yet_due: int
    left_out: tuple[tuple[str, int], ...]
    published: Published | None


def windows(protocol: Protocol, today: date) -> tuple[Window, ...]:
    """Every time point with its acceptance window, by the table of today."""
    yearly = ((f"{n} years", Step(months=12 * n)) for n in range(2, MOST_YEARS + 1))
    found = []
    for point, step in (*FIRST_POINTS, *yearly):
        answer = protocol.ask(*_asked(protocol, "attendance_window", today, point))
        early, late = (timedelta(days=answer.number(n)) for n in ("early_days", "late_days"))
        found.append(Window(point, step, early, late, answer.because))
    return tuple(found)


def _asked(
    protocol: Protocol, decision: str, today: date, point: str
) -> tuple[str, date, Mapping[str, str]]:
    known = dict(protocol.edition(decision, today).table.inputs)["time_point"].words
    return decision, today, {"time_point": point if point in known else LATER}


def attendance_of(
    case: Case, points: tuple[Window, ...], today: date, days: Period = ALL_DAYS
) -> Iterator[tuple[str, Attended | EndingKind]]:
    """How an operated child stands to each time point whose window closes in `days`.

    "Declined" counts as not coming.

    A child whose care ended on or before the last day of a window is not counted at that point,
    whether seen in it or not: else those who left early would count only when they came.
    """
    start = operated_on(case, today)
    if start is None:
        return
    ending = ended(case, today)
    declined = ending is not None and ending.kind is EndingKind.DECLINED
    seen = seen_days(case, watched_until(case, today))
    for window in points:
        on = window.step.after(start)
        opens, closes = on - window.early, on + window.late
        if not days.holds(closes):
            continue
        if ending is not None and not declined and ending.on <= closes:
            yield window.point, ending.kind
        elif closes >= today:
            yield window.point, Attended.NOT_YET
        else:
            came = any(opens <= day <= closes for day in seen)
            yield window.point, Attended.YES if came else Attended.NO


def attendance(
    counted: Mapping[tuple[str, Attended | EndingKind], int],
    points: tuple[Window, ...],
    protocol: Protocol,
    today: date,
) -> tuple[AtPoint, ...]:
    """The points from the first to the last at which any child was due, at least to one year."""
    table = [
        AtPoint(
            window,
            Share(
                yes := counted.get((window.point, Attended.YES), 0),
                yes + counted.get((window.point, Attended.NO), 0),
            ),
            counted.get((window.point, Attended.NOT_YET), 0),
            tuple(
                (kind.value, counted[window.point, kind])
                for kind in EndingKind
                if counted.get((window.point, kind))
            ),
            _published(protocol, window.point, today),
        )
        for window in points
    ]
    last = max((n for n, at in enumerate(table) if at.attended.total), default=0)
    return tuple(table[: max(last + 1, len(FIRST_POINTS))])


def worth_showing(points: Sequence[AtPoint]) -> Sequence[AtPoint]:
    """From the first point to the last that is published or of more than a few children."""
    last = (n for n, at in enumerate(points, 1) if at.published or at.attended.total >= FEWEST)
    return points[: max(last, default=len(points))]


def _published(protocol: Protocol, point: str, today: date) -> Published | None:
    answer = protocol.ask(*_asked(protocol, "published_attendance", today, point))
    if answer.outcome is not Told.THEN:
        return None
    return Published(answer.number("percent"), answer.number("children"), answer.because)


def corrections_of(
    case: Case, today: date, days: Period = ALL_DAYS
) -> Iterator[tuple[LensStatus, Followed]]:
    """For each eye operated in `days`, what it was left with and its time to a first correction.

    A contact lens or glasses recorded on the day of the operation count as day 0.
    """
    until = watched_until(case, today)
    for eye in Eye:
        removal = lens_removal(case, eye)
        if removal is None or removal.on > until or not days.holds(removal.on):
            continue
        corrected = (
            e.on
            for e in case.examinations
            if removal.on <= e.on <= until and e.of(eye).correction in WORN
        )
        first = next(corrected, None)
        followed = Followed(((first or until) - removal.on).days, first is not None)
        yield AFTER[removal.procedure], followed


@dataclass(frozen=True, slots=True)
class NoDate:
    """A child in care without an appointment ahead."""

    number: str
    last_seen: date | None
    operated_on: date | None


def without_date(case: Case, today: date) -> NoDate | None:
    booked = any(a.outcome is Outcome.BOOKED and a.on >= today for a in case.appointments)
    if booked or ended(case, today):
        return None
    return NoDate(case.child.number, last_seen(case, today), operated_on(case, today))
