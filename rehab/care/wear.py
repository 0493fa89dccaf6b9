"""Occlusion worn: what a diary or monitor says, what of it may be counted, and what it amounts to.

An entry that cannot be, or that was filled in afterwards, is flagged and counted nowhere. A day
without a usable entry is a gap: its hours are unknown, so adherence is told as two bounds, the
lower with every gap as a day without wear, the upper from the recorded days alone.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from rehab.care.case import Child
from rehab.care.facts import UNKNOWN
from rehab.care.occlusion import Span
from rehab.errors import RecordError
from rehab.measures.acuity_change import HUNDREDTHS_PER_LINE, Change, Verdict
from rehab.measures.clock import MINUTES_PER_DAY
from rehab.measures.dates import DAYS_PER_WEEK, completed_months
from rehab.measures.sleep import OLDEST_YEARS, QUARTER_HOUR, share_of_waking_minutes, waking_hours
from rehab.rules.protocol import Answer, Because, Protocol
from rehab.rules.table import Outcome


class Doubt(StrEnum):
    """Why an entry is not counted."""

    MORE_THAN_A_DAY = "more hours than a day has"
    ASLEEP = "more than the waking hours: worn while asleep, or a slip"
    NOT_PRESCRIBED = "no occlusion was prescribed for this day"
    BACK_FILLED = "a week of identical entries written on one day"
    TWICE = "two different entries for one day"


@dataclass(frozen=True, slots=True)
class WearDay:
    """Minutes worn on one day; `written_on` is the day of the entry, None when not known."""

    on: date
    minutes: int
    written_on: date | None = None


@dataclass(frozen=True, slots=True)
class Doubtful:
    day: WearDay
    doubt: Doubt


@dataclass(frozen=True, slots=True)
class WearSummary:
    """Wear over the prescribed days that are over; `gaps` are those without a usable entry."""

    prescribed_minutes: int
    recorded_prescribed_minutes: int
    worn_minutes: int
    days_prescribed: int
    days_recorded: int
    days_worn: int
    gaps: tuple[date, ...]
    doubtful: tuple[Doubtful, ...]

    @property
    def hours_worn(self) -> float:
        return self.worn_minutes / 60

    @property
    def adherence_percent(self) -> int | None:
        """Worn of prescribed, gaps as no wear: the lower bound; None when nothing was recorded."""
        return _percent(self.worn_minutes, self.prescribed_minutes) if self.days_recorded else None

    @property
    def adherence_percent_recorded(self) -> int | None:
        """Worn of prescribed on the recorded days alone: the upper bound."""
        return _percent(self.worn_minutes, self.recorded_prescribed_minutes)


def _percent(worn: int, prescribed: int) -> int | None:
    """Worn / prescribed x 100 (Tjiam 2013, Graefes 251:321); the cap at 100 is from memory."""
    return min(100, round(100 * worn / prescribed)) if prescribed else None


def summary(
    days: Sequence[WearDay],
    spans: Sequence[Span],
    child: Child,
    *,
    today: date,
    sleep_hours_reported: float | None = None,
) -> WearSummary:
    """What was worn of `spans` before `today`; raises RecordError for an entry ahead of its day.

    Days a week are spread over the week, because a regimen of 6 days does not say which 6.
    """
    for day in days:
        check_day(day, child, today)
    doubts = _doubts(days, spans, child, sleep_hours_reported)
    usable = {day.on: day.minutes for day in days if day not in doubts and day.on < today}
    owed = {
        on: span.minutes_per_day * span.days_per_week
        for span in spans
        for on in _days(span.start, min(span.until, today))
    }
    recorded = [on for on in owed if on in usable]
    return WearSummary(
        prescribed_minutes=round(sum(owed.values()) / DAYS_PER_WEEK),
        recorded_prescribed_minutes=round(sum(owed[on] for on in recorded) / DAYS_PER_WEEK),
        worn_minutes=sum(usable[on] for on in recorded),
        days_prescribed=len(owed),
        days_recorded=len(recorded),
        days_worn=sum(usable[on] > 0 for on in recorded),
        gaps=tuple(sorted(owed.keys() - usable.keys())),
        doubtful=tuple(sorted((Doubtful(d, why) for d, why in doubts.items()), key=_by_day)),
    )


def _by_day(doubtful: Doubtful) -> tuple[date, int]:
    return doubtful.day.on, doubtful.day.minutes


def check_day(day: WearDay, child: Child, today: date) -> None:
    """Raises RecordError for an entry ahead of its day, before birth, or below nothing."""
    if day.on > today:
        raise RecordError(
            f"the wear on {day.on} has not been yet (today is {today}).",
            where=child.number,
            do="Check the date, or give --today.",
        )
    if day.on < child.date_of_birth:
        raise RecordError(
            f"the wear on {day.on} is before the birth on {child.date_of_birth}.",
            where=child.number,
            do="Check both dates.",
        )
    if day.minutes < 0:
        raise RecordError(
            f"{day.minutes} minutes of wear on {day.on} cannot be.",
            where=child.number,
            do="Give 0 for a day without wear.",
        )


def _doubts(
    days: Sequence[WearDay], spans: Sequence[Span], child: Child, sleep_reported: float | None
) -> dict[WearDay, Doubt]:
    entries = {(day.on, day.minutes, day.written_on) for day in days}
    said = Counter(on for on, _ in {(on, minutes) for on, minutes, _ in entries})
    alike = Counter((minutes, written) for _, minutes, written in entries if written is not None)
    doubts = {}
    for day in days:
        if day.minutes > MINUTES_PER_DAY:
            doubts[day] = Doubt.MORE_THAN_A_DAY
        elif not any(span.start <= day.on < span.until for span in spans):
            # Nobody asked for wear here; a day without wear is then nothing to ask about.
            if day.minutes:
                doubts[day] = Doubt.NOT_PRESCRIBED
        elif day.minutes > awake_minutes(child, day.on, sleep_reported):
            doubts[day] = Doubt.ASLEEP
        elif said[day.on] > 1:
            doubts[day] = Doubt.TWICE
        elif day.minutes and day.written_on and alike[day.minutes, day.written_on] >= DAYS_PER_WEEK:
            doubts[day] = Doubt.BACK_FILLED
    return doubts


def _days(start: date, until: date) -> Iterator[date]:
    return (start + timedelta(days=n) for n in range((until - start).days))


def awake_minutes(child: Child, on: date, sleep_hours_reported: float | None) -> int:
    """Minutes awake on `on`. Past the curve's last age its last value: older children sleep less,
    so this is the cautious side."""
    age = min(completed_months(child.date_of_birth, on), OLDEST_YEARS * 12)
    return int(waking_hours(age, sleep_hours_reported) * 60)


def judged_wear(
    worn: WearSummary | None, protocol: Protocol, on: date
) -> tuple[str, tuple[Because, ...]]:
    """Adequate or poor when both bounds of adherence say so, else unknown; and the rows asked."""
    bounds: tuple[int | None, ...] = (None,)
    if worn is not None:
        bounds = (worn.adherence_percent, worn.adherence_percent_recorded)
    answers = [
        protocol.ask("wear_adequacy", on, {"adherence_percent": UNKNOWN if b is None else b})
        for b in dict.fromkeys(bounds)
    ]
    words = {answer.word("wear") for answer in answers}
    return words.pop() if len(words) == 1 else UNKNOWN, tuple(a.because for a in answers)


@dataclass(frozen=True, slots=True)
class Expectation:
    """Lines that the hours worn go with, and the band; a mean of other children, no promise."""

    lines: float
    fewest: float
    most: float
    because: Because


def expected_gain(
    worn_minutes: int, age_months: int, protocol: Protocol, on: date
) -> Expectation | Answer:
    """The published dose-response for `worn_minutes`, or the referral where none is published."""
    answer = protocol.ask("occlusion_dose_response", on, {"age_months": age_months})
    if answer.outcome is not Outcome.THEN:
        return answer
    hours = worn_minutes / 60
    return Expectation(
        hours / answer.number("hours_per_line"),
        hours / answer.number("most_hours_per_line"),
        hours / answer.number("fewest_hours_per_line"),
        answer.because,
    )


def hours_per_line(worn_minutes: int, change: Change) -> float | None:
    """Hours worn for each line gained so far; None unless the gain is beyond the test's noise."""
    if change.verdict is not Verdict.BETTER or change.hundredths is None:
        return None
    return worn_minutes / 60 / (-change.hundredths / HUNDREDTHS_PER_LINE)


@dataclass(frozen=True, slots=True)
class AlternateDays:
    """One way to wear a dose: `minutes_on_a_day` on every other day, for the same weekly total."""

    minutes_on_a_day: int
    minutes_per_day: int
    because: Because

    @property
    def minutes_per_week(self) -> float:
        return self.minutes_on_a_day * DAYS_PER_WEEK / 2


def alternate_days(
    asked: tuple[str, int], protocol: Protocol, on: date, sleep_hours_reported: float | None = None
) -> AlternateDays | Answer:
    """Half of the waking day, or the whole of every other day, by (laterality, corrected age).

    Where half a day is rounded up, both are a quarter of an hour less, so that the weekly totals
    stay equal and no day asks for more than the child is awake.
    """
    laterality, age_months = asked
    answer = protocol.ask(
        "occlusion_alternate_days",
        on,
        {"laterality": laterality, "corrected_age_months": age_months},
    )
    if answer.outcome is not Outcome.THEN:
        return answer
    daily = share_of_waking_minutes(age_months, 50, sleep_hours_reported)
    times = answer.number("times_the_daily_dose")
    if daily * times > waking_hours(age_months, sleep_hours_reported) * 60:
        daily -= QUARTER_HOUR
    return AlternateDays(daily * times, daily, answer.because)
