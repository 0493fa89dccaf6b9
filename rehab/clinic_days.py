"""The days on which plans may put visits: the diary's, and the clinic file's where it is silent."""

from dataclasses import dataclass, replace
from datetime import date, timedelta

from rehab.care.diary import Closure, Diary, Session
from rehab.session_dates import clinic_span, sessions, why_day_shut
from rehab.settings import Clinic, open_days

WHY_CLOSED = "closed by the clinic file"


@dataclass(frozen=True, slots=True)
class ClinicDays:
    """`lists` are the sessions under anaesthesia, which plans use for nothing else."""

    open_days: tuple[date, ...]
    lists: tuple[Session, ...] = ()


def with_closed_days(diary: Diary, clinic: Clinic) -> Diary:
    """The diary with the days that the clinic file closes as closures of the whole clinic."""
    closed = (Closure("", on, on + timedelta(days=1), WHY_CLOSED) for on in clinic.closed)
    return replace(diary, closures=(*diary.closures, *closed))


def clinic_days(diary: Diary, clinic: Clinic, start: date, until: date) -> ClinicDays:
    """The days from `start` to before `until`, in order.

    From the first day of the diary's sessions to their last it alone decides; before and after it,
    and without sessions, the open weekdays of the clinic file do, except where the diary shuts the
    whole clinic. A day that the clinic file closes is shut for every session.
    """
    whole = with_closed_days(diary, clinic)
    made = sessions(whole, start, until)
    span = clinic_span(diary)
    by_file = (
        on
        for on in open_days(clinic, start, until)
        if not (span and span[0] <= on < span[1]) and not why_day_shut(whole, on)
    )
    return ClinicDays(
        tuple(sorted({*by_file, *(s.on for s in made if not s.under_anaesthesia)})),
        tuple(s for s in made if s.under_anaesthesia),
    )
