"""What a school or nursery may know: what the child wears, and what the family agreed to tell."""

from datetime import date

from rehab.care.case import Case, Correction, Eye
from rehab.care.facts import correction_since, known_on
from rehab.care.sharing import SchoolTopic

UNSEEN = (Correction.NONE, Correction.UNKNOWN)


def worn_on(case: Case, today: date) -> tuple[tuple[Eye, Correction], ...]:
    """The glasses or contact lens of each eye, as last recorded; an eye without has no entry."""
    known = known_on(case, today)
    worn = ((eye, correction_since(known, eye)[0]) for eye in Eye)
    return tuple((eye, correction) for eye, correction in worn if correction not in UNSEEN)


def shared_on(case: Case, today: date) -> tuple[SchoolTopic, ...]:
    """What the family agreed to tell; nothing where nobody asked it."""
    sharing = known_on(case, today).sharing
    return sharing.school if sharing else ()
