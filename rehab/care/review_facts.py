"""What a review of occlusion found, in the words that the occlusion tables are asked with."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from rehab.care.case import Child, Dose, Eye, Regimen
from rehab.care.regimen_life import State
from rehab.care.wear import WearSummary
from rehab.errors import RecordError
from rehab.measures.acuity import Acuity
from rehab.measures.acuity_change import (
    Change,
    Verdict,
    interocular_lines,
    judge_change,
    logmar_difference_hundredths,
)
from rehab.measures.dates import DAYS_PER_WEEK, completed_months
from rehab.measures.fixation import Finding, Fixation, Nystagmus
from rehab.rules.domain import Value

ONE_LINE, TWO_LINES = 10, 20
# Increasing patching, Ophthalmology 2013;120:2270: stable means no gain between two visits at
# least six weeks apart (seen).
PLATEAU_DAYS = 6 * DAYS_PER_WEEK
VISITS_HELD = 2
BY_AGE, NOT_BY_THE_HOUR = "by age", "not by the hour"
WATCHING = (State.STOPPED, State.WATCHED)
REVIEWED = (State.RUNNING, State.TAPERING, State.PAUSED, *WATCHING)


@dataclass(frozen=True, slots=True)
class Look:
    """Acuity of both eyes on one day; None for an eye that could not be tested."""

    on: date
    treated: Acuity | None
    fellow: Acuity | None


@dataclass(frozen=True, slots=True)
class ReviewFacts:
    """All that a proposal rests on. `looks` are those of the whole course, the last is the review.

    `minutes_today` is what the regimen asks for today, also where the age table gives it.
    `previous` are the regimens before this one in the same course, oldest first.
    """

    child: Child
    laterality: str
    nystagmus: Nystagmus
    regimen: Regimen
    minutes_today: int
    state: State
    looks: tuple[Look, ...]
    worn: WearSummary | None = None
    double_vision: Finding = Finding.UNKNOWN
    new_squint: Finding = Finding.UNKNOWN
    skin_reaction: Finding = Finding.UNKNOWN
    previous: tuple[Regimen, ...] = ()
    sleep_hours_reported: float | None = None

    @property
    def review(self) -> Look:
        return self.looks[-1]

    @property
    def treated_eye(self) -> Eye:
        return self.regimen.occluded_eye.fellow


@dataclass(frozen=True, slots=True)
class Judged:
    """One eye's change in the word of a table, with the comparison that it rests on."""

    word: str
    change: Change | None = None


def check_facts(facts: ReviewFacts, today: date) -> None:
    """Raises RecordError for a review that cannot be of this regimen."""
    number, regimen = facts.child.number, facts.regimen
    if facts.state not in REVIEWED:
        raise RecordError(
            f"occlusion is {facts.state}: there is nothing to review.",
            where=number,
            do="Accept a regimen first.",
        )
    if not facts.looks:
        raise RecordError("no acuity is recorded.", where=number, do="Measure both eyes.")
    if any(one.on >= other.on for one, other in pairwise(facts.looks)):
        raise RecordError(
            "the looks are not in order of date, one a day.",
            where=number,
            do="Give each day once, oldest first.",
        )
    if facts.review.on > today:
        raise RecordError(
            f"the review on {facts.review.on} has not been yet (today is {today}).",
            where=number,
            do="Check the date, or give --today.",
        )
    if facts.review.on < regimen.starts:
        raise RecordError(
            f"the review on {facts.review.on} is before the regimen began on {regimen.starts}.",
            where=number,
            do="Check both dates.",
        )
    if facts.state in WATCHING and (regimen.ends is None or regimen.ends > facts.review.on):
        raise RecordError(
            f"occlusion is {facts.state}, but had not stopped by the review on {facts.review.on}.",
            where=number,
            do="Record the day of the stop, or check the date of the review.",
        )


def stated(facts: ReviewFacts, wear: str) -> Mapping[str, Value]:
    """The inputs of the occlusion tables by name; `wear` is adequate, poor or unknown."""
    regimen = facts.regimen
    return {
        "age_months": completed_months(facts.child.date_of_birth, facts.review.on),
        "change_since_stop": since_stop(facts).word,
        "current_minutes": _current(regimen),
        "double_vision": facts.double_vision,
        "equal_visits": equal_visits(facts.looks),
        "fellow_change": fellow_change(facts.looks).word,
        "laterality": facts.laterality,
        "method": regimen.method,
        "minutes_per_day": facts.minutes_today,
        "new_squint": facts.new_squint,
        "nystagmus": facts.nystagmus,
        "phase": "tapering" if facts.state is State.TAPERING else "running",
        "previous_raises": previous_raises((*facts.previous, regimen)),
        "skin_reaction": facts.skin_reaction,
        "treated_change": treated_change(facts).word,
        "wear": wear,
        "weeks_on_dose": (facts.review.on - regimen.starts).days // DAYS_PER_WEEK,
    }


def _current(regimen: Regimen) -> Value:
    if regimen.minutes_per_day is not None:
        return regimen.minutes_per_day
    return BY_AGE if regimen.dose is Dose.BY_AGE else NOT_BY_THE_HOUR


def previous_raises(regimens: Sequence[Regimen]) -> int:
    return sum(
        one.minutes_per_day is not None
        and other.minutes_per_day is not None
        and other.minutes_per_day > one.minutes_per_day
        for one, other in pairwise(regimens)
    )


def equal_visits(looks: Sequence[Look]) -> int:
    """The last looks in a row, two at most, with the eyes within one line; letters only."""
    held = 0
    for look in reversed(looks[-VISITS_HELD:]):
        if look.treated is None or look.fellow is None:
            break
        lines = interocular_lines(look.treated, look.fellow)
        if lines is None or abs(lines) > 1:
            break
        held += 1
    return held


def fellow_change(looks: Sequence[Look]) -> Judged:
    """The better eye against every earlier look for two lines, against the last for one.

    A slow loss within noise at each visit is still a loss, so the gravest comparison counts; one
    line is asked of the last look only, so that its repeat settles it.
    """
    now = looks[-1].fellow
    if now is None:
        return Judged("unknown")
    treated = looks[-1].treated
    between = logmar_difference_hundredths(treated, now) if treated is not None else None
    if between is not None and between <= -TWO_LINES:
        return Judged("now the weaker eye")
    earlier = [look.fellow for look in looks[:-1] if look.fellow is not None]
    if not earlier:
        return Judged("first look")
    lost = _worse_than_any(earlier, now)
    if lost is not None:
        change, confirmed = lost
        if isinstance(now.grade, Fixation):
            return Judged("fixation worse", change)
        return Judged("two lines worse confirmed" if confirmed else "two lines worse", change)
    change = judge_change(earlier[-1], now)
    if change.verdict is Verdict.NOT_COMPARABLE:
        return Judged("not comparable", change)
    lines = (change.hundredths or 0) >= ONE_LINE
    return Judged("one line worse" if lines else "no worse", change)


def treated_change(facts: ReviewFacts) -> Judged:
    """The treated eye on the present dose, from the last look before it began."""
    looks = facts.looks
    before = [n for n, look in enumerate(looks) if look.on <= facts.regimen.starts]
    on_dose = looks[before[-1] if before else 0 :]
    now = on_dose[-1].treated
    if now is None:
        return Judged("not measured")
    earlier = [look for look in on_dose[:-1] if look.treated is not None]
    acuities = [look.treated for look in earlier if look.treated is not None]
    if not acuities:
        return Judged("first visit")
    change = judge_change(_reference(acuities), now)
    if change.verdict is Verdict.NOT_COMPARABLE:
        return Judged("not comparable", change)
    lost = _worse_than_any(acuities, now)
    if lost is not None:
        return Judged("worse confirmed" if lost[1] else "worse unconfirmed", lost[0])
    if change.verdict is Verdict.BETTER:
        return Judged("improved", change)
    gained = -(change.hundredths or 0)
    if gained >= ONE_LINE:
        return Judged("gain in noise", change)
    if gained <= -ONE_LINE:
        return Judged("worse in noise", change)
    return Judged("plateau" if _stable(earlier, facts.review) else "no gain", change)


def since_stop(facts: ReviewFacts) -> Judged:
    """The treated eye against the last look on or before the stop."""
    stop = facts.regimen.ends
    at_stop = [look.treated for look in facts.looks if stop is not None and look.on <= stop]
    after = [look.treated for look in facts.looks if stop is not None and look.on > stop]
    if not after or not at_stop or at_stop[-1] is None:
        return Judged("first visit")
    if after[-1] is None:
        return Judged("not measured")
    change = judge_change(at_stop[-1], after[-1])
    match change.verdict:
        case Verdict.NOT_COMPARABLE:
            return Judged("not comparable", change)
        case Verdict.WORSE:
            seen = [acuity for acuity in after[:-1] if acuity is not None]
            twice = bool(seen) and judge_change(at_stop[-1], seen[-1]).verdict is Verdict.WORSE
            return Judged("worse confirmed" if twice else "worse unconfirmed", change)
        case _:
            lines = (change.hundredths or 0) >= ONE_LINE
            return Judged("worse in noise" if lines else "no worse", change)


def _reference(earlier: Sequence[Acuity]) -> Acuity:
    """The last result; but where that one was an unconfirmed loss, the result before it."""
    if len(earlier) > 1 and judge_change(earlier[-2], earlier[-1]).verdict is Verdict.WORSE:
        return earlier[-2]
    return earlier[-1]


def _worse_than_any(earlier: Sequence[Acuity], now: Acuity) -> tuple[Change, bool] | None:
    """The first comparison by which `now` is worse, confirmed when the last result was too."""
    lost = [
        (change, judge_change(one, earlier[-1]).verdict is Verdict.WORSE)
        for one in earlier
        if (change := judge_change(one, now)).verdict is Verdict.WORSE
    ]
    return next((found for found in lost if found[1]), lost[0] if lost else None)


def _stable(earlier: Sequence[Look], review: Look) -> bool:
    """No line gained since the last look at least six weeks ago, in numbers."""
    old = [look for look in earlier if (review.on - look.on).days >= PLATEAU_DAYS]
    if not old or old[-1].treated is None or review.treated is None:
        return False
    change = judge_change(old[-1].treated, review.treated)
    return change.hundredths is not None and change.hundredths > -ONE_LINE
