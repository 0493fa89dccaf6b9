"""What a plan means at home: today's hours, the trips to come, what to ask about."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from rehab.care.case import CheckKind, Eye, Method
from rehab.care.changes import ONE_DAY
from rehab.care.checks import Check, Status
from rehab.care.diary import Site
from rehab.care.occlusion import Span
from rehab.care.plan import Plan, agreed_occlusion, next_check
from rehab.care.problems import ProblemKind
from rehab.care.visits import Visit
from rehab.clinic_days import ClinicDays

VISITS_SHOWN = 5
ONE_WEEK = timedelta(weeks=1)
CHECK_NAMES = frozenset(CheckKind)
OCCLUSION_DECISIONS = ("occlusion_start", "occlusion_dose")
FOR_A_CLINICIAN = (ProblemKind.REFER, ProblemKind.DECIDE)


class Patching(StrEnum):
    """How far a person has agreed to occlusion."""

    AGREED = "agreed"
    LOOK_FIRST = "look first"
    PROPOSED = "proposed"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Hours:
    """One row of the patching table; `last` is its last day, `now` says that it holds today."""

    start: date
    last: date
    eye: Eye
    minutes_per_day: int
    days_per_week: int
    method: Method
    now: bool


@dataclass(frozen=True, slots=True)
class Purpose:
    """One kind of check and the eyes it is for; no eyes when the plan does not say."""

    kind: CheckKind
    eyes: tuple[Eye, ...]


@dataclass(frozen=True, slots=True)
class Trip:
    """One visit as a family reads it; a window that has begun starts today.

    `days` are the clinic's days in the window. A booked visit may have a time of day, in minutes
    after midnight, and a `place` other than the clinic's own.
    """

    on: date
    earliest: date
    latest: date
    booked: bool
    overdue: bool
    purposes: tuple[Purpose, ...]
    days: tuple[date, ...] = ()
    starts_minute: int | None = None
    minutes: int = 0
    place: Site | None = None


@dataclass(frozen=True, slots=True)
class Home:
    """What a family must know of a plan.

    `without_day` are checks that no visit settles. A clinician must still decide on the checks of
    `ask_about`, on the patch when `ask_about_patch`, and with `open_decision` on something too
    inward to name.
    """

    patching: Patching
    hours: tuple[Hours, ...]
    this_week: tuple[Hours, ...]
    covered_eyes: tuple[Eye, ...]
    hold_until: date | None
    ends_this_week: bool
    patching_check_overdue: bool
    trips: tuple[Trip, ...]
    more_trips: bool
    kinds: tuple[CheckKind, ...]
    without_day: tuple[Purpose, ...]
    ask_about: tuple[Purpose, ...]
    ask_about_patch: bool
    open_decision: bool


def home_of(plan: Plan, days: ClinicDays, places: Mapping[str, Site]) -> Home:
    """`days` are those on which the clinic is open; `places` says where each session is."""
    hours = _hours(plan)
    hold = max((h.last for h in hours), default=None)
    every = trips_of(plan, days, places)
    trips = tuple(trip for n, trip in enumerate(every) if n < VISITS_SHOWN or trip.booked)
    look = next_check(plan, CheckKind.OCCLUSION)
    waiting = [problem for problem in plan.problems if problem.kind in FOR_A_CLINICIAN]
    about = {problem.about for problem in waiting}
    return Home(
        patching=_patching(plan, hours),
        hours=hours,
        this_week=tuple(h for h in hours if h.start < plan.today + ONE_WEEK),
        covered_eyes=tuple(dict.fromkeys(h.eye for h in hours if h.minutes_per_day)),
        hold_until=hold,
        ends_this_week=hold is not None and hold < plan.today + ONE_WEEK,
        patching_check_overdue=look is not None and look.status is Status.OVERDUE,
        trips=trips,
        more_trips=len(trips) < len(every),
        kinds=tuple(k for k in CheckKind if any(k is p.kind for t in trips for p in t.purposes)),
        without_day=_without_day(plan),
        ask_about=_by_kind((CheckKind(p.about), p.eye) for p in waiting if p.about in CHECK_NAMES),
        ask_about_patch=not about.isdisjoint(OCCLUSION_DECISIONS),
        open_decision=bool(about.difference(CHECK_NAMES, OCCLUSION_DECISIONS)),
    )


def trips_of(plan: Plan, days: ClinicDays, places: Mapping[str, Site]) -> tuple[Trip, ...]:
    """All that are planned, also those that a letter has no room for."""
    visits = sorted(plan.visits, key=lambda visit: visit.on)
    return tuple(_trip(visit, plan.today, days, places) for visit in visits)


def _patching(plan: Plan, hours: tuple[Hours, ...]) -> Patching:
    ahead = [span for span in plan.occlusion if span.until > plan.today]
    if hours:
        return Patching.AGREED
    if any(span.accepted for span in ahead):
        return Patching.LOOK_FIRST
    return Patching.PROPOSED if ahead else Patching.NONE


def _hours(plan: Plan) -> tuple[Hours, ...]:
    """The agreed spans from today on; days that follow on each other with one dose are one row."""
    rows: list[Hours] = []
    for span in sorted(agreed_occlusion(plan), key=lambda s: (s.start, s.eye)):
        if span.until <= plan.today:
            continue
        row = _row(span, plan.today)
        before = rows[-1] if rows else None
        if before and before.last + ONE_DAY == row.start and dose_of(before) == dose_of(row):
            rows[-1] = Hours(before.start, row.last, *dose_of(row), now=before.now)
        else:
            rows.append(row)
    return tuple(rows)


def _row(span: Span, today: date) -> Hours:
    return Hours(
        start=max(span.start, today),
        last=span.until - ONE_DAY,
        eye=span.eye,
        minutes_per_day=span.minutes_per_day,
        days_per_week=span.days_per_week,
        method=span.method,
        now=span.start <= today,
    )


def dose_of(row: Hours) -> tuple[Eye, int, int, Method]:
    """What makes two rows the same treatment."""
    return row.eye, row.minutes_per_day, row.days_per_week, row.method


def _trip(visit: Visit, today: date, days: ClinicDays, places: Mapping[str, Site]) -> Trip:
    purposes = _purposes(visit.checks)
    asleep = any(purpose.kind is CheckKind.ANAESTHESIA for purpose in purposes)
    may = (session.on for session in days.lists) if asleep else days.open_days
    earliest = max(visit.earliest, today)
    booked = visit.appointment
    return Trip(
        on=visit.on,
        earliest=earliest,
        latest=visit.latest,
        booked=visit.booked,
        overdue=any(check.status is Status.OVERDUE for check in visit.checks),
        purposes=purposes,
        days=tuple(on for on in may if earliest <= on <= visit.latest),
        starts_minute=booked.starts_minute if booked else None,
        minutes=booked.minutes if booked else 0,
        place=places.get(booked.session) if booked else None,
    )


def _purposes(checks: Iterable[Check]) -> tuple[Purpose, ...]:
    return _by_kind((check.kind, check.eye) for check in checks)


def _by_kind(pairs: Iterable[tuple[CheckKind, Eye | None]]) -> tuple[Purpose, ...]:
    found = set(pairs)
    kinds = {kind for kind, _ in found}
    return tuple(
        Purpose(kind, tuple(eye for eye in Eye if (kind, eye) in found))
        for kind in CheckKind
        if kind in kinds
    )


def _without_day(plan: Plan) -> tuple[Purpose, ...]:
    settled = {check.key for visit in plan.visits for check in visit.checks}
    return _purposes(c for c in plan.checks if c.key not in settled and c.by < plan.horizon)
