"""What one clinician must tell another of a child: findings, plan and course, as short texts."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

from rehab.care.case import (
    Appointment,
    Case,
    CheckKind,
    Correction,
    Dose,
    Ending,
    EndingKind,
    Eye,
    EyeFindings,
    LensStatus,
    Method,
    Outcome,
    Procedure,
    Regimen,
    VisualAxis,
)
from rehab.care.changes import ONE_DAY
from rehab.care.checks import Check, Status
from rehab.care.facts import correction_since, known_on, latest_findings
from rehab.care.flags import Flag, Urgency
from rehab.care.history import lens_status
from rehab.care.plan import Plan
from rehab.care.problems import Problem
from rehab.care.regimen_life import State
from rehab.care.review import begun, state_of
from rehab.measures.eye_size import write_axial_length
from rehab.measures.fixation import Fixation, write_fixation
from rehab.measures.pressure import write_pressure
from rehab.measures.refraction import write_power, write_refraction
from rehab.rules.protocol import Because
from rehab.rules.table import ASSUMPTION

NOT_RECORDED = ""


class Found(StrEnum):
    """What a clinician looks for first in each eye."""

    ACUITY = "acuity"
    FIXATION = "fixation"
    PRESSURE = "pressure"
    REFRACTION = "refraction"
    VISUAL_AXIS = "visual axis"
    CORRECTION = "correction"
    AXIAL_LENGTH = "axial length"


class Happened(StrEnum):
    """What the course of a child consists of."""

    OPERATION = "operation"
    REGIMEN_STARTS = "regimen starts"
    REGIMEN_PAUSED = "regimen paused"
    REGIMEN_ENDS = "regimen ends"
    CARE_ENDS = "care ends"


@dataclass(frozen=True, slots=True)
class Operation:
    """`target` is the refraction that an implant aimed at, "" where none is recorded."""

    on: date
    eye: Eye
    procedure: Procedure
    target: str


@dataclass(frozen=True, slots=True)
class Row:
    """The latest finding of one sort; `value` is "" and `on` None where nothing is recorded."""

    what: Found
    value: str = NOT_RECORDED
    on: date | None = None


@dataclass(frozen=True, slots=True)
class EyeState:
    """One eye as last seen; its lens as the operations left it, unknown where none is recorded
    and nobody described the lens."""

    eye: Eye
    lens: LensStatus
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class RegimenNow:
    """The regimen in force; `minutes_per_day` None where it is not by the hour, or `by_age`."""

    eye: Eye
    method: Method
    minutes_per_day: int | None
    days_per_week: int
    since: date
    agreed_by: str
    review_on: date | None
    paused_from: date | None
    by_age: bool


@dataclass(frozen=True, slots=True)
class Coming:
    """The next check of one kind of one eye, why, and the number of its source in the list."""

    kind: CheckKind
    eye: Eye
    earliest: date
    by: date
    overdue: bool
    reason: str
    assumption: bool
    source: int


@dataclass(frozen=True, slots=True)
class Cited:
    """One source of the plan; not `seen` means that its figure was written down from memory."""

    number: int
    citation: str
    seen: bool


@dataclass(frozen=True, slots=True)
class Event:
    """One step of the course; `said` is what was done or recorded."""

    on: date
    what: Happened
    said: str
    eye: Eye | None = None


@dataclass(frozen=True, slots=True)
class Clinical:
    """All of it as known on `as_of`; `eyes` is the right eye and the left eye, in this order.

    `unsettled` are appointments whose outcome nobody recorded, past and to come.
    """

    as_of: date
    operations: tuple[Operation, ...]
    eyes: tuple[EyeState, ...]
    regimen: RegimenNow | None
    coming: tuple[Coming, ...]
    sources: tuple[Cited, ...]
    decisions: tuple[Problem, ...]
    flags: tuple[Flag, ...]
    history: tuple[Event, ...]
    unsettled: tuple[Appointment, ...]
    ending: Ending | None


def clinical_of(plan: Plan, case: Case, written_on: date) -> Clinical:
    """The clinical side of a child on the day of its plan, in a letter of `written_on`."""
    known = known_on(case, plan.today)
    ending = case.ending if case.ending and case.ending.on <= written_on else None
    coming, sources = _coming(plan)
    return Clinical(
        as_of=plan.today,
        operations=tuple(
            Operation(
                s.on,
                s.eye,
                s.procedure,
                "" if s.target_quarters is None else write_power(s.target_quarters),
            )
            for s in known.surgeries
        ),
        eyes=tuple(_eye_state(known, eye, plan.today) for eye in Eye),
        regimen=_regimen(plan, known),
        coming=coming,
        sources=sources,
        decisions=plan.problems,
        flags=plan.flags,
        history=tuple(sorted(_history(known, ending), key=lambda event: event.on)),
        unsettled=tuple(a for a in known.appointments if a.outcome is Outcome.BOOKED),
        ending=ending,
    )


def before_ending(case: Case, today: date) -> tuple[Case, date] | None:
    """The case as if care went on, and its last day here; None while it goes on, and after a
    death."""
    if case.ending is None or case.ending.on > today or case.ending.kind is EndingKind.DIED:
        return None
    return replace(case, ending=None), case.ending.on - ONE_DAY


def _eye_state(case: Case, eye: Eye, on: date) -> EyeState:
    operated = any(s.eye is eye for s in case.surgeries)
    described = latest_findings(case, eye, lambda f: f.lens_status is not LensStatus.UNKNOWN)
    known = operated or described is not None
    lens = lens_status(case, eye, on) if known else LensStatus.UNKNOWN
    return EyeState(eye, lens, tuple(_row(case, eye, what) for what in Found))


def _row(case: Case, eye: Eye, what: Found) -> Row:
    latest = latest_findings(case, eye, lambda f: bool(_value(f, what)))
    if latest is None:
        return Row(what)
    examination, found = latest
    since = correction_since(case, eye)[1] if what is Found.CORRECTION else None
    return Row(what, _value(found, what), since or examination.on)


def _value(found: EyeFindings, what: Found) -> str:
    """As it was written; "" for what was not looked at."""
    match what:
        case Found.ACUITY:
            return ", ".join(acuity.written for acuity in found.acuities)
        case Found.FIXATION:
            return write_fixation(found.fixation) if found.fixation != Fixation() else ""
        case Found.PRESSURE:
            return write_pressure(found.pressure).removesuffix(" unknown") if found.pressure else ""
        case Found.REFRACTION:
            return write_refraction(found.refraction) if found.refraction else ""
        case Found.VISUAL_AXIS:
            return "" if found.visual_axis is VisualAxis.UNKNOWN else found.visual_axis
        case Found.CORRECTION:
            return "" if found.correction is Correction.UNKNOWN else found.correction
        case Found.AXIAL_LENGTH:
            length = found.axial_length_hundredths_mm
            return "" if length is None else write_axial_length(length)


def urgency_of(clinical: Clinical) -> str:
    """How soon a family must ring about a finding: "today", "this week", or "" for no sooner."""
    soon = (Urgency.TODAY, Urgency.THIS_WEEK)
    return next((u.value for u in soon if any(f.urgency is u for f in clinical.flags)), "")


def drops_for(clinical: Clinical) -> Eye | None:
    """The eye whose sight drops lower, as it was agreed; None where that is no part of the plan."""
    now = clinical.regimen
    return now.eye if now and now.method is Method.ATROPINE else None


def _regimen(plan: Plan, case: Case) -> RegimenNow | None:
    regimen = begun(case, plan.today)
    if regimen is None or state_of(regimen, plan.today) is State.WATCHED:
        return None
    spans = (s for s in plan.occlusion if s.accepted and s.start <= plan.today < s.until)
    span = next((s for s in spans if s.regimen == regimen.id), None)
    paused = regimen.paused_from if state_of(regimen, plan.today) is State.PAUSED else None
    return RegimenNow(
        eye=regimen.occluded_eye,
        method=regimen.method,
        minutes_per_day=span.minutes_per_day if span else regimen.minutes_per_day,
        days_per_week=regimen.days_per_week,
        since=regimen.starts,
        agreed_by=regimen.prescriber,
        review_on=regimen.review_on,
        paused_from=paused,
        by_age=regimen.dose is Dose.BY_AGE,
    )


def _coming(plan: Plan) -> tuple[tuple[Coming, ...], tuple[Cited, ...]]:
    """The next check of each kind and eye, the most pressing first, with the sources they cite."""
    nearest: dict[tuple[CheckKind, Eye], Check] = {}
    for check in sorted(plan.checks, key=lambda c: (c.by, c.kind, c.eye)):
        nearest.setdefault((check.kind, check.eye), check)
    numbers: dict[tuple[str, bool], int] = {}
    rows = tuple(_coming_row(check, numbers) for check in nearest.values())
    return rows, tuple(Cited(n, citation, seen) for (citation, seen), n in numbers.items())


def _coming_row(check: Check, numbers: dict[tuple[str, bool], int]) -> Coming:
    because: Because = check.because
    assumption = because.source == ASSUMPTION
    cited = (because.citation, because.seen)
    return Coming(
        kind=check.kind,
        eye=check.eye,
        earliest=check.earliest,
        by=check.by,
        overdue=check.status is Status.OVERDUE,
        reason=because.counted,
        assumption=assumption,
        source=0 if assumption else numbers.setdefault(cited, len(numbers) + 1),
    )


def _history(case: Case, ending: Ending | None) -> Iterator[Event]:
    for surgery in case.surgeries:
        yield Event(surgery.on, Happened.OPERATION, surgery.procedure, surgery.eye)
    for regimen in case.regimens:
        eye, said = regimen.occluded_eye, _regimen_said(regimen)
        yield Event(regimen.starts, Happened.REGIMEN_STARTS, said, eye)
        if regimen.paused_from:
            yield Event(regimen.paused_from, Happened.REGIMEN_PAUSED, regimen.method, eye)
        if regimen.ends:
            yield Event(regimen.ends, Happened.REGIMEN_ENDS, regimen.method, eye)
    if ending:
        parts = (ending.kind, ending.receiving_clinic, ending.note)
        yield Event(ending.on, Happened.CARE_ENDS, "; ".join(p for p in parts if p))


def _regimen_said(regimen: Regimen) -> str:
    if regimen.minutes_per_day is None:
        return f"{regimen.method}, {regimen.dose}"
    return (
        f"{regimen.method}, {regimen.minutes_per_day / 60:g} h a day, "
        f"{regimen.days_per_week} days a week"
    )
