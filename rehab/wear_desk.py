"""Wear at the clinic's desk: what a family or a monitor tells, kept, and what it amounts to."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from rehab.care.case import Case, Regimen
from rehab.care.facts import Moment, sleep_hours_reported
from rehab.care.review import accepted_spans, begun, course_before, gather
from rehab.care.review_facts import treated_change
from rehab.care.wear import (
    Doubtful,
    Expectation,
    WearDay,
    WearSummary,
    expected_gain,
    hours_per_line,
    summary,
)
from rehab.errors import RecordError
from rehab.measures.dates import completed_months
from rehab.rules.protocol import Answer, Because
from rehab.store.store import Stamp
from rehab.workflow import Desk


@dataclass(frozen=True, slots=True)
class Written:
    """Days told for the first time, days corrected, and entries that are kept but not counted."""

    new: tuple[WearDay, ...]
    corrected: tuple[WearDay, ...]
    doubtful: tuple[Doubtful, ...]


def record_wear(
    desk: Desk, number: str, days: Sequence[WearDay], *, today: date, stamp: Stamp
) -> Written:
    """All of `days` or none; a day told before is superseded, the same again changes nothing."""
    with desk.store.transaction() as tx:
        case = tx.case(number)
        new, corrected = tx.record_wear(number, days, stamp)
        told = {day.on for day in days}
        whole = _summary(desk, case, tx.wear(number), today)
        doubtful = tuple(d for d in whole.doubtful if d.day.on in told)
        return Written(new, corrected, doubtful)


def _summary(desk: Desk, case: Case, wear: Sequence[WearDay], today: date) -> WearSummary:
    spans = accepted_spans(case, desk.protocol, today)
    regimen = begun(case, today)
    sleep = None
    if regimen is not None:
        eye = regimen.occluded_eye.fellow
        moment = Moment(case, eye, today, regimen.starts, desk.protocol)
        sleep = sleep_hours_reported(moment)
    return summary(wear, spans, case.child, today=today, sleep_hours_reported=sleep)


@dataclass(frozen=True, slots=True)
class Worn:
    """What was worn: over the whole course, and under each regimen with the band it is called."""

    whole: WearSummary
    regimens: tuple[tuple[Regimen, WearSummary, Because | None, str], ...]
    hours_per_line: float | None
    expected: Expectation | Answer | None


def worn(desk: Desk, number: str, *, today: date) -> Worn:
    case, wear = desk.store.case(number), desk.store.wear(number)
    whole = _summary(desk, case, wear, today)
    spans = accepted_spans(case, desk.protocol, today)
    of_each = []
    for regimen in case.regimens:
        mine = [span for span in spans if span.regimen == regimen.id]
        until = min(regimen.ends or today, today)
        days = [day for day in wear if regimen.starts <= day.on < until]
        if mine:
            counted = summary(days, mine, case.child, today=today)
            of_each.append((regimen, counted, *_band(desk, counted, today)))
    return Worn(whole, tuple(of_each), *_per_line(desk, case, wear, today))


def _band(desk: Desk, counted: WearSummary, today: date) -> tuple[Because | None, str]:
    """What adherence is called, when both of its bounds are called the same."""
    bounds = (counted.adherence_percent, counted.adherence_percent_recorded)
    if bounds[0] is None or bounds[1] is None:
        return None, "not counted"
    answers = [
        desk.protocol.ask("wear_band", today, {"adherence_percent": bound})
        for bound in bounds
        if bound is not None
    ]
    called = dict.fromkeys(answer.word("band") for answer in answers)
    return answers[0].because, " to ".join(called)


def _per_line(
    desk: Desk, case: Case, wear: Sequence[WearDay], today: date
) -> tuple[float | None, Expectation | Answer | None]:
    """Hours for each line gained under the present regimen, and what such hours go with."""
    regimen = begun(case, today)
    if regimen is None or not wear:
        return None, None
    months = completed_months(case.child.date_of_birth, today)
    minutes = _course_minutes(desk, case, regimen, wear, today)
    expected = expected_gain(minutes, months, desk.protocol, today)
    try:
        facts = gather(case, wear, desk.protocol, today)
    except RecordError:
        return None, expected
    change = treated_change(facts).change
    if change is None or facts.worn is None:
        return None, expected
    return hours_per_line(facts.worn.worn_minutes, change), expected


def _course_minutes(
    desk: Desk, case: Case, regimen: Regimen, wear: Sequence[WearDay], today: date
) -> int:
    course = {r.id for r in (*course_before(case, regimen), regimen)}
    spans = [s for s in accepted_spans(case, desk.protocol, today) if s.regimen in course]
    first = min((span.start for span in spans), default=today)
    days = [day for day in wear if day.on >= first]
    return summary(days, spans, case.child, today=today).worn_minutes
