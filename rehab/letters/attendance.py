"""Whether a child was seen, or was not brought to its last visit and has not been seen since."""

from datetime import date

from rehab.care.case import Case, Outcome


def not_brought_on(case: Case, today: date) -> date | None:
    """The day of that visit; None when the child was seen on it or later, or never awaited."""
    past = [a for a in case.appointments if a.on <= today]
    waited = max((a.on for a in past if a.outcome is Outcome.WAS_NOT_BROUGHT), default=None)
    seen = [
        *(a.on for a in past if a.outcome is Outcome.ATTENDED),
        *(e.on for e in case.examinations if e.on <= today),
    ]
    return None if waited is None or any(on >= waited for on in seen) else waited


def seen_on(case: Case, on: date) -> bool:
    """Whether the child came, or was examined, on a day."""
    came = any(a.on == on and a.outcome is Outcome.ATTENDED for a in case.appointments)
    return came or any(examination.on == on for examination in case.examinations)
