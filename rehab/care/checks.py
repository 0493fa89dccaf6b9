"""Due checks: for each check of each eye, the windows that follow from its anchor.

A series starts at an anchor (surgery, fitting, start or end of occlusion) and its table names the
next date each time. A date counted from the anchor or from birth lies on a fixed grid, and is
settled by the first examination on or after the day its window opens; a date counted from the last
time is settled by any later examination. What was not done stays, as overdue, until it is.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from rehab.care.case import (
    Case,
    Cataract,
    CheckKind,
    Correction,
    Examination,
    Eye,
    LensStatus,
    Regimen,
    VisualAxis,
)
from rehab.care.eye_forecast import dating
from rehab.care.facts import (
    Moment,
    affected_eyes,
    cataract,
    correction_since,
    facts,
    weaker_eye,
)
from rehab.care.history import lens_removal, lens_status, surgeries_of
from rehab.care.occlusion import minutes_on
from rehab.care.problems import Problem, ProblemKind, referral
from rehab.errors import TableError
from rehab.measures.dates import Step
from rehab.measures.fixation import Fixation
from rehab.rules.protocol import Answer, Because, Protocol
from rehab.rules.table import Outcome

NOT_OPERATED = "not operated"
# What stayed away longer than its catch-up time comes as soon as the clinic is open.
SOON_DAYS = 7


class Status(StrEnum):
    """Where today stands to a check's window."""

    OVERDUE = "overdue"
    DUE = "due"
    PLANNED = "planned"


@dataclass(frozen=True, slots=True)
class Check:
    """A window in which one check of one eye falls due. `latest` is its last good day (inclusive).

    `ordinal` counts the checks of its series from `anchor`, so that `key` stays the same when the
    dates move. `by` is the last day to settle it now: `latest`, or for an overdue check the end of
    its catch-up time, or a week from today once that has passed too.
    """

    kind: CheckKind
    eye: Eye
    anchor: date
    ordinal: int
    earliest: date
    target: date
    latest: date
    by: date
    status: Status
    because: Because

    @property
    def key(self) -> str:
        return f"{self.kind}/{self.eye}/{self.anchor:%Y%m%d}/{self.ordinal}"


@dataclass(frozen=True, slots=True)
class Series:
    """One check of one eye from its anchor on; `anchored_at` says in words what the anchor was.

    A person may have `agreed` on the first look, with the regimen that says so.
    """

    kind: CheckKind
    eye: Eye
    anchor: date
    anchored_at: str
    regimen: Regimen | None = None
    agreed: Regimen | None = None


@dataclass(frozen=True, slots=True)
class Horizon:
    """The days that a plan looks at: from `today` to before `horizon`."""

    today: date
    horizon: date


def settles(examination: Examination) -> Iterator[tuple[CheckKind, Eye]]:
    """The checks that an examination did, by what was recorded in it.

    Sight is compared between the eyes: a look at one of them settles no review of occlusion.
    """
    yield from examination.done
    seen = {f.eye for f in examination.findings if f.acuities or f.fixation != Fixation()}
    both_seen = seen == set(Eye)
    for found in examination.findings:
        yield CheckKind.REVIEW, found.eye
        if examination.under_anaesthesia:
            yield CheckKind.ANAESTHESIA, found.eye
        if found.pressure is not None:
            yield CheckKind.PRESSURE, found.eye
        if found.visual_axis is not VisualAxis.UNKNOWN:
            yield CheckKind.VISUAL_AXIS, found.eye
        if found.refraction is not None:
            yield CheckKind.REFRACTION, found.eye
        if both_seen:
            yield CheckKind.OCCLUSION, found.eye
            yield CheckKind.WATCH, found.eye
            yield CheckKind.GLASSES, found.eye


def series_of(case: Case, today: date) -> Iterator[Series]:
    """Every series that runs for this child on `today`."""
    operated = tuple(eye for eye in Eye if lens_removal(case, eye))
    for eye in operated:
        last = surgeries_of(case, eye)[-1]
        at = f"{last.procedure} of the {eye} eye on {last.on}"
        for kind in (
            CheckKind.REVIEW,
            CheckKind.PRESSURE,
            CheckKind.VISUAL_AXIS,
            CheckKind.REFRACTION,
            CheckKind.FUNDUS,
            CheckKind.SUTURES,
            CheckKind.ANAESTHESIA,
        ):
            yield Series(kind, eye, last.on, at)
        worn, since = correction_since(case, eye)
        aphakic = lens_status(case, eye, today) is LensStatus.APHAKIC
        if aphakic and worn is Correction.CONTACT_LENS and since is not None:
            yield Series(CheckKind.CONTACT_LENS, eye, since, f"contact lens worn since {since}")
    if len(operated) == 1 and cataract(case, operated[0].fellow) is not Cataract.NONE:
        first = lens_removal(case, operated[0])
        if first is not None:
            at = f"{first.procedure} of the {first.eye} eye on {first.on}"
            yield Series(CheckKind.SECOND_EYE, first.eye.fellow, first.on, at)
    weaker = weaker_eye(case)
    if weaker is not None and not affected_eyes(case) and not case.regimens:
        worn, since = correction_since(case, weaker)
        if worn is Correction.GLASSES and since is not None:
            yield Series(CheckKind.GLASSES, weaker, since, f"glasses worn since {since}")
    yield from _occlusion_series(case, today)


def _occlusion_series(case: Case, today: date) -> Iterator[Series]:
    """Of the regimen that runs, or of one that ended; and of the next one, where none runs.

    Hours that start later are looked at as much as those that have started.
    """
    begun = [r for r in case.regimens if r.starts <= today]
    last = begun[-1] if begun else None
    if last is not None and last.ends is not None and last.ends <= today:
        at = f"end of occlusion on {last.ends}"
        treated = last.occluded_eye.fellow
        yield Series(CheckKind.WATCH, treated, last.ends, at, agreed=_agreed_look(last))
        last = None
    running = last or next((r for r in case.regimens if r.starts > today), None)
    if running is not None:
        at = f"occlusion of the {running.occluded_eye} eye from {running.starts}"
        treated, agreed = running.occluded_eye.fellow, _agreed_look(running)
        yield Series(CheckKind.OCCLUSION, treated, running.starts, at, running, agreed)


def _agreed_look(regimen: Regimen) -> Regimen | None:
    return regimen if regimen.review_on is not None else None


def due_checks(
    case: Case, protocol: Protocol, span: Horizon
) -> tuple[tuple[Check, ...], tuple[Problem, ...]]:
    """All checks of a child in the span, what is overdue among them, and what a table refers."""
    done: dict[tuple[CheckKind, Eye], list[date]] = {}
    for examination in case.examinations:
        for key in settles(examination):
            done.setdefault(key, []).append(examination.on)
    checks: list[Check] = []
    problems: list[Problem] = []
    for series in series_of(case, span.today):
        dates = tuple(done.get((series.kind, series.eye), ()))
        for found in _walk(case, series, dates, protocol, span):
            (checks if isinstance(found, Check) else problems).append(found)  # type: ignore[arg-type]
    checks.sort(key=lambda c: (c.target, c.kind, c.eye))
    return tuple(checks), tuple(problems)


def _walk(
    case: Case, series: Series, done: tuple[date, ...], protocol: Protocol, span: Horizon
) -> Iterator[Check | Problem]:
    reached = last = series.anchor
    caught_up: date | None = None
    expected = None
    if series.kind is CheckKind.REFRACTION:
        expected = dating(Moment(case, series.eye, span.today, series.anchor, protocol))
    ordinal = 0
    if series.agreed is not None:
        ordinal, decided_on, look = 1, *_look_agreed(series.agreed)
        early, late, width = _window(protocol, decided_on, look)
        opens = max(look - early, decided_on + timedelta(days=1))
        if look >= span.horizon:
            return
        settled = next((day for day in done if day >= opens), None)
        if settled is None:
            because = _agreed_by(series.agreed, look, width)
            days = (look - early, look, look + late)
            yield _check(case, series, ordinal, days, because, protocol, span)
        last = settled or max(look, span.today)
        caught_up = None if settled else last
        reached = look if series.kind is CheckKind.WATCH else last
    while True:
        moment = Moment(case, series.eye, reached, series.anchor, protocol)
        try:
            answer = _ask(series, moment)
        except TableError as error:
            if reached <= span.today:
                yield Problem(ProblemKind.REFER, series.kind, error.what, error.do, series.eye)
            return
        if answer.outcome is Outcome.REFER and reached <= span.today:
            yield referral(answer, series.eye, reached)
        if answer.outcome is not Outcome.THEN:
            return
        dated = expected if _is_routine(answer) else None
        from_last = answer.word("counted_from") == "last"
        target, counted = _next_date(case, series, answer, reached, last)
        early, late, width = _window(protocol, reached, target)
        earliest, latest = target - early, target + late
        if dated is not None:
            earliest = min(earliest, target - _early_limit(protocol, reached))
        if target >= span.horizon:
            return
        ordinal += 1
        opens = last + timedelta(days=1) if from_last else earliest
        settled = next((day for day in done if day >= opens), None) if done else None
        if settled is None and caught_up is not None and caught_up >= opens and not from_last:
            settled = caught_up
        if settled is not None:
            last = max(last, settled)
            reached = settled if from_last else target
            continue
        if dated is not None and last == dated.last_on:
            target, forecast_says = dated.next_between(max(earliest, last), target)
            early, late, width = _window(protocol, last, target)
            earliest, latest = target - early, min(latest, target + late)
            counted = f"{forecast_says}; by its table {counted}"
        because = replace(answer.because, counted=f"{counted}; {width}")
        check = _check(case, series, ordinal, (earliest, target, latest), because, protocol, span)
        yield check
        caught_up = last = max(target, span.today)
        reached = last if from_last else target


def _look_agreed(regimen: Regimen) -> tuple[date, date]:
    """The day of the decision and the day of the look that it set."""
    decided_on = regimen.decided_on or regimen.starts
    return decided_on, regimen.review_on or decided_on


def _agreed_by(regimen: Regimen, look: date, width: str) -> Because:
    decided_on, _ = _look_agreed(regimen)
    rows = ", ".join(regimen.proposed_by) or "no row"
    return Because(
        decision="regimen",
        edition=decided_on,
        row=regimen.id,
        source="prescription",
        at=f"{regimen.reason.rstrip('.') or 'no reason given'}; proposed by {rows}",
        citation=f"Agreed by {regimen.prescriber}.",
        seen=True,
        digest="",
        facts=(),
        counted=f"the look on {look} was agreed on {decided_on}; {width}",
    )


def _ask(series: Series, moment: Moment) -> Answer:
    table = moment.protocol.edition(series.kind, moment.on).table
    names = [name for name, _ in table.inputs]
    asked = dict(facts(moment, names))
    if series.regimen is not None:
        asked["minutes_per_day"] = minutes_on(series.regimen, moment)
    return moment.protocol.ask(series.kind, moment.on, asked)


def _is_routine(answer: Answer) -> bool:
    """Whether a row's dates recur, so that a forecast may move them; the first weeks are fixed."""
    return answer.word("unit") == "months" and answer.number("every") > 1


def _early_limit(protocol: Protocol, on: date) -> timedelta:
    return timedelta(days=protocol.ask("refraction_early_limit", on, {}).number("early_days"))


def _next_date(
    case: Case, series: Series, answer: Answer, reached: date, last: date
) -> tuple[date, str]:
    every, unit = answer.number("every"), answer.word("unit")
    step = Step(months=every) if unit == "months" else Step(days=every)
    if answer.word("counted_from") == "last":
        return step.after(last), f"{step} after {last}"
    if answer.word("counted_from") == "birth":
        born = case.child.date_of_birth
        target, n = step.next_after(born, reached)
        return target, f"age {step.times(n)}, born {born}"
    target, n = step.next_after(series.anchor, reached)
    return target, f"{step.times(n)} after {series.anchored_at}"


def _window(protocol: Protocol, reached: date, target: date) -> tuple[timedelta, timedelta, str]:
    width = protocol.ask("window_width", reached, {"interval_days": (target - reached).days})
    early, late = width.number("early_days"), width.number("late_days")
    said = f"window {early} days before to {late} after ({width.because.row})"
    return timedelta(days=early), timedelta(days=late), said


def _check(
    case: Case,
    series: Series,
    ordinal: int,
    window: tuple[date, date, date],
    because: Because,
    protocol: Protocol,
    span: Horizon,
) -> Check:
    earliest, target, latest = window
    by = latest
    if latest < span.today:
        status = Status.OVERDUE
        within = catch_up_days(case, protocol, latest)
        by = max(
            latest + timedelta(days=within),
            span.today + timedelta(days=min(within, SOON_DAYS)),
        )
    else:
        status = Status.DUE if earliest <= span.today else Status.PLANNED
    return Check(
        series.kind,
        series.eye,
        series.anchor,
        ordinal,
        earliest,
        target,
        latest,
        by,
        status,
        because,
    )


def catch_up_days(case: Case, protocol: Protocol, latest: date) -> int:
    """Within how many days of its last good day a missed check is to be brought in."""
    operated = [s.on for s in case.surgeries if s.on <= latest]
    since = (latest - operated[-1]).days if operated else NOT_OPERATED
    return protocol.ask("catch_up", latest, {"days_since_surgery": since}).number("within_days")
