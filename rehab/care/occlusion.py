"""The occlusion calendar: which eye, how long each day, accepted by a person or only proposed."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

from rehab.care.case import Case, Dose, Eye, Method, Regimen
from rehab.care.facts import (
    Moment,
    affected_eyes,
    age_months,
    corrected_age_months,
    count_age_from,
    facts,
    sleep_hours_reported,
    weaker_eye,
)
from rehab.care.history import lens_removal, surgeries_of
from rehab.care.problems import Problem, ProblemKind, referral
from rehab.errors import TableError
from rehab.measures.dates import add_months
from rehab.measures.sleep import share_of_waking_minutes
from rehab.rules.protocol import Answer, Because, Protocol
from rehab.rules.table import Outcome

START, DOSE = "occlusion_start", "occlusion_dose"


@dataclass(frozen=True, slots=True)
class Span:
    """Days from `start` to before `until` with one dose. Not `accepted`: only a proposal."""

    start: date
    until: date
    eye: Eye
    minutes_per_day: int
    days_per_week: int
    method: Method
    accepted: bool
    because: Because
    regimen: str = ""

    @property
    def hours_per_day(self) -> float:
        return self.minutes_per_day / 60


def occlusion(
    case: Case, protocol: Protocol, today: date, horizon: date
) -> tuple[tuple[Span, ...], tuple[Problem, ...]]:
    """Spans of the regimens a person accepted; without any, what the tables propose."""
    spans: list[Span] = []
    problems: list[Problem] = []
    found = (
        (
            item
            for regimen in case.regimens
            for item in _of_regimen(case, regimen, protocol, horizon)
        )
        if case.regimens
        else _proposed(case, protocol, today, horizon)
    )
    for item in found:
        (spans if isinstance(item, Span) else problems).append(item)  # type: ignore[arg-type]
    return tuple(spans), tuple(problems)


def _of_regimen(
    case: Case, regimen: Regimen, protocol: Protocol, horizon: date
) -> Iterator[Span | Problem]:
    until = min(regimen.ends or horizon, regimen.paused_from or horizon, horizon)
    if regimen.dose is Dose.NOT_BY_THE_HOUR:
        return
    if regimen.minutes_per_day is not None:
        because = Because(
            decision="regimen",
            edition=regimen.starts,
            row=regimen.id,
            source="prescription",
            at=regimen.reason,
            citation=f"Accepted by {regimen.prescriber}.",
            seen=True,
            digest="",
            facts=(),
            counted=f"{regimen.minutes_per_day} minutes a day from {regimen.starts}",
        )
        if regimen.starts < until:
            yield Span(
                regimen.starts,
                until,
                regimen.occluded_eye,
                regimen.minutes_per_day,
                regimen.days_per_week,
                regimen.method,
                True,
                because,
                regimen.id,
            )
        return
    treated = regimen.occluded_eye.fellow
    for item in _by_age(case, treated, protocol, regimen.starts, until):
        if isinstance(item, Span):
            yield replace(item, method=regimen.method, accepted=True, regimen=regimen.id)
        else:
            yield item


def _proposed(
    case: Case, protocol: Protocol, today: date, horizon: date
) -> Iterator[Span | Problem]:
    treated = weaker_eye(case)
    operated = treated is not None and lens_removal(case, treated) is not None
    if not case.surgeries and not case.examinations:
        return
    waiting = [eye for eye in affected_eyes(case) if lens_removal(case, eye) is None]
    if case.surgeries and waiting:
        # The second operation comes first; its own table plans it.
        return
    if treated is not None and treated in affected_eyes(case) and not operated:
        yield Problem(
            ProblemKind.REFER,
            START,
            f"The {treated} eye has a cataract and no operation is recorded.",
            "The surgeon decides whether and when to operate; occlusion is planned after that.",
            treated,
        )
        return
    anchor = surgeries_of(case, treated)[-1].on if treated and operated else today
    moment = Moment(case, treated or Eye.RIGHT, today, anchor, protocol)
    answer = _asked(START, moment)
    if isinstance(answer, Problem):
        yield replace(answer, eye=treated)
        return
    if answer.outcome is not Outcome.THEN or treated is None:
        return
    wait = timedelta(days=answer.number("start_days_after_surgery"))
    start = max(today, anchor + wait) if operated else today
    spans = tuple(_by_age(case, treated, protocol, start, horizon))
    yield from spans
    first = next((span for span in spans if isinstance(span, Span)), None)
    if first is not None:
        yield Problem(
            ProblemKind.DECIDE,
            START,
            f"Occlusion of the {first.eye} eye is proposed from {first.start}, "
            f"{first.hours_per_day:g} h a day at first.",
            f"The orthoptist decides: rehab occlusion accept {case.child.number}.",
            treated,
            replace(answer.because, counted=f"start no earlier than {start}"),
        )


def _by_age(
    case: Case, treated: Eye, protocol: Protocol, start: date, until: date
) -> Iterator[Span | Problem]:
    """The dose of each completed month of age, spans of one dose and row joined."""
    current: Span | None = None
    day = start
    while day < until:
        moment = Moment(case, treated, day, start, protocol)
        boundary = min(_next_month(moment), until)
        answer = _asked(DOSE, moment)
        if isinstance(answer, Problem):
            if current is not None:
                yield current
            yield answer
            return
        if answer.outcome is not Outcome.THEN:
            break
        minutes = _minutes(answer, moment)
        because = replace(answer.because, counted=_counted(answer, minutes, moment))
        if (
            current is not None
            and current.minutes_per_day == minutes
            and current.because.row == because.row
        ):
            current = replace(current, until=boundary)
        else:
            if current is not None:
                yield current
            current = Span(
                day,
                boundary,
                treated.fellow,
                minutes,
                answer.number("days_per_week"),
                Method.PATCH,
                False,
                because,
            )
        day = boundary
    if current is not None:
        yield current


def minutes_on(regimen: Regimen, moment: Moment) -> int:
    """The minutes a day of `regimen` on the day of `moment`; 0 while it is paused, where the age
    table refers, and for what is not worn by the hour."""
    if regimen.paused_from is not None and regimen.paused_from <= moment.on:
        return 0
    if regimen.dose is not Dose.BY_AGE:
        return regimen.minutes_per_day or 0
    answer = _asked(DOSE, moment)
    if isinstance(answer, Problem) or answer.outcome is not Outcome.THEN:
        return 0
    return _minutes(answer, moment)


def _asked(decision: str, moment: Moment) -> Answer | Problem:
    """The answer, or the referral that stands in its place."""
    table = moment.protocol.edition(decision, moment.on).table
    names = [name for name, _ in table.inputs]
    try:
        answer = moment.protocol.ask(decision, moment.on, facts(moment, names))
    except TableError as error:
        return Problem(ProblemKind.REFER, decision, error.what, error.do, moment.eye)
    if answer.outcome is Outcome.REFER:
        return referral(answer, moment.eye, moment.on)
    return answer


def _minutes(answer: Answer, moment: Moment) -> int:
    percent = answer.number("percent_of_waking")
    if not percent:
        return answer.number("minutes_per_day")
    reported = sleep_hours_reported(moment)
    return share_of_waking_minutes(corrected_age_months(moment), percent, reported)


def _counted(answer: Answer, minutes: int, moment: Moment) -> str:
    percent = answer.number("percent_of_waking")
    if not percent:
        return f"{minutes / 60:g} h a day"
    reported = sleep_hours_reported(moment)
    waking = (
        "usual at this age"
        if reported is None
        else f"left by the {reported:g} h of sleep that the family reports"
    )
    return f"{percent} % of the waking hours {waking}, to the quarter hour: {minutes / 60:g}"


def _next_month(moment: Moment) -> date:
    """The next day on which the child is a month older, by the age in force or by the calendar."""
    by_calendar = add_months(moment.case.child.date_of_birth, age_months(moment) + 1)
    corrected = add_months(count_age_from(moment), corrected_age_months(moment) + 1)
    return min(by_calendar, corrected)
