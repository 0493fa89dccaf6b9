"""When in a session a child should come, so that families do not all wait together."""

from collections.abc import Iterable

from rehab.care.case import Appointment
from rehab.care.diary import Session

STEP_MINUTES = 5


def arrival_minute(
    session: Session, booked: Iterable[Appointment], minutes: int, not_before: int | None = None
) -> int:
    """The local minute after midnight at which a visit of `minutes` should begin.

    The capacity is laid along the session: with twice as many minutes as the session lasts, two
    children come at a time. A visit takes the first gap that holds it, else the last place; none
    begins before the minute `not_before`, when the family can come, unless the session ends first.
    """
    if session.capacity_minutes == 0:
        return session.starts_minute
    length = session.ends_minute - session.starts_minute
    pace = session.capacity_minutes / length
    can_come = -((session.starts_minute - (not_before or 0)) // STEP_MINUTES) * STEP_MINUTES
    can_come = min(max(can_come, 0), length - STEP_MINUTES)
    at = can_come * pace
    for start, end in sorted(_places(session, booked, pace)):
        if start - at >= minutes:
            break
        at = max(at, end)
    at = max(0.0, min(at, session.capacity_minutes - minutes))
    return session.starts_minute + max(can_come, int(at / pace) // STEP_MINUTES * STEP_MINUTES)


def _places(
    session: Session, booked: Iterable[Appointment], pace: float
) -> Iterable[tuple[float, float]]:
    for appointment in booked:
        if appointment.starts_minute is not None:
            start = (appointment.starts_minute - session.starts_minute) * pace
            yield start, start + appointment.minutes
