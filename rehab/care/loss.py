"""Time from the first lens removal until a child is lost to follow-up.

A child is lost on the first day that lies the grace time (a table row) beyond the last good day of
the review that was due, or beyond a missed appointment, and on which it has not been seen since.
That day, not the missed one, is counted: on it the loss was known. Only the last state counts: who
was seen again is not lost. Declining care is loss on the day of declining.
"""

from dataclasses import replace
from datetime import date, timedelta

from rehab.care.case import Case, CheckKind, EndingKind, Examination, Eye, Outcome
from rehab.care.checks import Horizon, due_checks
from rehab.care.facts import known_on
from rehab.care.figures import ended, last_seen, operated_on, watched_until
from rehab.care.survival import Followed
from rehab.rules.protocol import Protocol

TABLE = "loss_to_follow_up"
LOST, IN_CARE = "lost", "in care"


def grace(protocol: Protocol, today: date) -> timedelta:
    return timedelta(days=protocol.ask(TABLE, today, {}).number("grace_days"))


def loss_of(case: Case, protocol: Protocol, today: date) -> tuple[Followed, str] | None:
    """How long an operated child was followed, and what ended it: loss, an ending, or today."""
    start, seen = operated_on(case, today), last_seen(case, today)
    if start is None or seen is None:
        return None
    ending, until = ended(case, today), watched_until(case, today)
    expected = _expected_by(case, protocol, seen, until)
    lost_on = expected + grace(protocol, today) if expected else None
    if lost_on is not None and lost_on <= until:
        return Followed((lost_on - start).days, True), LOST
    # Care that ended before the operation was recorded leaves nothing to follow.
    days = max(0, (until - start).days)
    if ending is None:
        return Followed(days, False), IN_CARE
    return Followed(days, ending.kind is EndingKind.DECLINED), ending.kind.value


def _expected_by(case: Case, protocol: Protocol, seen: date, until: date) -> date | None:
    """The day by which the child should have come again, where it has passed."""
    missed = [
        a.on
        for a in case.appointments
        if a.outcome is Outcome.WAS_NOT_BROUGHT and seen < a.on <= until
    ]
    # Whatever brought the child that day, it was looked at: the next review counts from there.
    look = Examination("", seen, done=tuple((CheckKind.REVIEW, eye) for eye in Eye))
    known = known_on(case, seen)
    known = replace(known, examinations=(*known.examinations, look))
    checks, _ = due_checks(known, protocol, Horizon(seen, until + timedelta(days=1)))
    reviews = [c.latest for c in checks if c.kind is CheckKind.REVIEW]
    return min([*missed, *reviews], default=None)
