"""The recall list: the children whom someone must contact, why, and the most urgent first."""

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import Any

from rehab.care.case import Case, Child, Eye, Outcome
from rehab.care.checks import NOT_OPERATED
from rehab.care.contacts import Consent, Contact, ContactTry, TryOutcome, Way
from rehab.care.flags import Urgency
from rehab.care.history import lens_removal
from rehab.care.plan import Plan
from rehab.care.recall_reasons import (
    NotOffered,
    Reason,
    ReasonKind,
    Standing,
    WhyShut,
    days_ahead,
    reasons,
    standing_of,
    waits_until,
)
from rehab.errors import RehabError
from rehab.measures.dates import completed_months
from rehab.rules.protocol import Because, Protocol

URGENCY = "recall_urgency"
CONTACT = {
    1: "TODAY",
    2: "this week",
    3: "before the window closes",
    4: "when booking next",
}
WAITING = "on the day of the next try"
# How far the list looks ahead to windows that close unbooked, unless a person asks otherwise.
LOOK_AHEAD = timedelta(days=14)
# An open flag is never less urgent than it says.
_FLAGGED = {Urgency.TODAY: 1, Urgency.THIS_WEEK: 2}
_LAST_TRIES = 2
_MOST_TIMES, _MOST_DAYS, _LONGEST_NUMBER = 999, 99999, 42


@dataclass(frozen=True, slots=True)
class Recall:
    """One family; `urgency` 1 is today, `come_by` the last good day of the next visit, or
    the day of an appointment that the family has not heard of.

    With `waits_until` somebody tried and agreed on a next try: the family rests at the lowest
    urgency until that day. `because` is the answer that made it as urgent as it is.
    """

    child: Child
    urgency: int
    reasons: tuple[Reason, ...]
    come_by: date | None = None
    times_not_brought: int = 0
    days_overdue: int = 0
    because: Because | None = None
    waits_until: date | None = None
    contacts: tuple[Contact, ...] = ()
    last_tries: tuple[ContactTry, ...] = ()

    @property
    def contact(self) -> str:
        """When to contact the family, in words."""
        return f"on {self.waits_until}" if self.waits_until else CONTACT[self.urgency]


def never_shut(*_: object) -> str:
    """For a clinic that keeps no diary."""
    return ""


def recall_list(
    cases: Iterable[tuple[Case, Plan | RehabError]],
    protocol: Protocol,
    *,
    today: date,
    by: date,
    why_shut: WhyShut = never_shut,
    not_offered: NotOffered = never_shut,
) -> tuple[Recall, ...]:
    """Each child once. `by` is the last day to look ahead to for windows that close unbooked."""
    asks = (why_shut, not_offered)
    lines = (_line(case, plan, protocol, (today, by), asks) for case, plan in cases)
    listed = (line for line in lines if line is not None)
    return tuple(sorted(listed, key=lambda line: (place(line), line.child.number)))


def place(line: Recall) -> str:
    """The line's place in the list, as text: urgency, those that wait for their next try first,
    most often missed, soonest last day, longest overdue, number."""
    last_day = line.come_by or date.max
    number = line.child.number.encode("ascii", "backslashreplace").decode()
    return (
        f"{line.urgency}{0 if line.waits_until else 1}"
        f"{_MOST_TIMES - min(line.times_not_brought, _MOST_TIMES):03}"
        f"{last_day.isoformat().replace('-', '')}"
        f"{_MOST_DAYS - min(line.days_overdue, _MOST_DAYS):05}"
        f"{number[:_LONGEST_NUMBER]}"
    )


def contact_counts(lines: Sequence[Recall]) -> tuple[tuple[str, int], ...]:
    """How many families are to be contacted how soon, in words, the most urgent first."""
    waiting = sum(line.waits_until is not None for line in lines)
    counted = Counter(line.urgency for line in lines if line.waits_until is None)
    soon = tuple((CONTACT[u], counted[u]) for u in sorted(counted))
    return (*soon, (WAITING, waiting)) if waiting else soon


def to_content(line: Recall) -> str:
    """The line as JSON text, to be kept and read back with `from_content`."""
    return json.dumps(asdict(line), default=date.isoformat, ensure_ascii=False)


def from_content(text: str) -> Recall:
    raw = json.loads(text)
    because = raw["because"]
    return Recall(
        **{
            **raw,
            "child": Child(**_dated(raw["child"], "date_of_birth")),
            "reasons": tuple(Reason(ReasonKind(r["kind"]), r["sentence"]) for r in raw["reasons"]),
            "come_by": _day(raw["come_by"]),
            "because": because
            and Because(
                **{
                    **_dated(because, "edition"),
                    "facts": tuple((name, value) for name, value in because["facts"]),
                }
            ),
            "waits_until": _day(raw["waits_until"]),
            "contacts": tuple(_contact(c) for c in raw["contacts"]),
            "last_tries": tuple(_tried(t) for t in raw["last_tries"]),
        }
    )


def _contact(raw: Mapping[str, Any]) -> Contact:
    consents = {name: Consent(raw[name]) for name in ("text_consent", "email_consent")}
    return Contact(**{**raw, **consents})


def _tried(raw: Mapping[str, Any]) -> ContactTry:
    words = {"way": Way(raw["way"]), "outcome": TryOutcome(raw["outcome"])}
    return ContactTry(**{**_dated(raw, "on", "next_try"), **words})


def _dated(raw: Mapping[str, Any], *names: str) -> dict[str, Any]:
    return {**raw, **{name: _day(raw[name]) for name in names}}


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def _line(
    case: Case,
    plan: Plan | RehabError,
    protocol: Protocol,
    days: tuple[date, date],
    asks: tuple[WhyShut, NotOffered],
) -> Recall | None:
    """One child must not keep the others off the list: a plan that cannot be made is told."""
    today, by = days
    try:
        if isinstance(plan, RehabError):
            raise plan
        if case.ending is not None and case.ending.on <= today:
            return None
        return _recall(standing_of(case, plan, protocol, today, *asks), protocol, by)
    except RehabError as error:
        told = Reason(ReasonKind.NO_PLAN, f"no plan can be made: {error}")
        tries = case.tries[-_LAST_TRIES:]
        return Recall(case.child, 1, (told,), contacts=case.contacts, last_tries=tries)


def _recall(standing: Standing, protocol: Protocol, by: date) -> Recall | None:
    told = reasons(standing, by)
    if not told:
        return None
    case, today = standing.case, standing.today
    days_overdue = max(((today - check.latest).days for check in standing.late), default=0)
    next_days = [visit.latest for visit in standing.unbooked[:1]]
    next_days += [a.on for a in standing.untold if a.outcome is Outcome.BOOKED]
    urgency, because, wait_days = _urgency(standing, told, days_overdue, protocol)
    waits = waits_until(standing, wait_days)
    return Recall(
        case.child,
        max(CONTACT) if waits else urgency,
        told,
        min(next_days, default=None),
        len(standing.missed),
        days_overdue,
        because,
        waits,
        case.contacts,
        tuple(t for t in case.tries if t.on <= today)[-_LAST_TRIES:],
    )


def _urgency(
    standing: Standing, told: tuple[Reason, ...], days_overdue: int, protocol: Protocol
) -> tuple[int, Because, int]:
    """The most urgent of what the dates, the flags and the reasons say, and for how many days a
    next try may hold the family back."""
    case, today = standing.case, standing.today
    operated = [s.on for s in case.surgeries if s.on <= today]
    unbooked = standing.unbooked
    dates = protocol.ask(
        URGENCY,
        today,
        {
            "age_months": completed_months(case.child.date_of_birth, today),
            "days_since_surgery": (today - operated[-1]).days if operated else NOT_OPERATED,
            "risk": risk(standing, protocol),
            "days_overdue": days_overdue,
            "times_not_brought": len(standing.missed),
            "days_left": max((unbooked[0].latest - today).days, 0) if unbooked else "no visit",
        },
    )
    answers = [(dates.number("urgency"), dates.because)]
    answers += [(_FLAGGED[flag.urgency], flag.because) for flag in standing.flags]
    for kind in dict.fromkeys(reason.kind for reason in told):
        if kind is not ReasonKind.URGENT_FLAG:
            left = days_ahead(standing, kind)
            answer = protocol.ask(
                "recall_reason",
                today,
                {"reason": kind.value, "days_ahead": "none" if left is None else left},
            )
            answers.append((answer.number("urgency"), answer.because))
    return *min(answers, key=lambda a: a[0]), dates.number("wait_days")


def risk(standing: Standing, protocol: Protocol) -> str:
    """Whether a delay puts this child's eyes at more than the ordinary risk."""
    case, today = standing.case, standing.today
    removals = [lens_removal(case, eye) for eye in Eye]
    operated = [s.on for s in removals if s is not None and s.on <= today]
    small = any(flag.because.decision == "microcornea" for flag in standing.plan.flags)
    answer = protocol.ask(
        "recall_risk",
        today,
        {
            "age_at_surgery_months": completed_months(case.child.date_of_birth, min(operated))
            if operated
            else NOT_OPERATED,
            "small_cornea": "yes" if small else "no",
        },
    )
    return answer.word("risk")
