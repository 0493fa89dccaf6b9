"""The days on which plans may put visits: the diary's, and the clinic file's where it is silent."""

from dataclasses import dataclass
from datetime import date

from rehab.care.case import Appointment
from rehab.care.diary import Diary, Session
from rehab.session_dates import clinic_span, sessions, why_day_shut, why_shut
from rehab.settings import Clinic, open_days


@dataclass(frozen=True, slots=True)
class ClinicDays:
    """`lists` are the sessions under anaesthesia, which plans use for nothing else."""

    open_days: tuple[date, ...]
    lists: tuple[Session, ...] = ()


def clinic_days(diary: Diary, clinic: Clinic, start: date, until: date) -> ClinicDays:
    """The days from `start` to before `until`, in order.

    From the first day of the diary's sessions to their last it alone decides; before and after it,
    and without sessions, the open weekdays of the clinic file do, except where the diary shuts the
    whole clinic. A day that the clinic file closes is shut everywhere.
    """
    made = [s for s in sessions(diary, start, until) if s.on not in clinic.closed]
    span = clinic_span(diary)
    by_file = (
        on
        for on in open_days(clinic, start, until)
        if not (span and span[0] <= on < span[1]) and not why_day_shut(diary, on)
    )
    return ClinicDays(
        tuple(sorted({*by_file, *(s.on for s in made if not s.under_anaesthesia)})),
        tuple(s for s in made if s.under_anaesthesia),
    )


def why_not_kept(diary: Diary, clinic: Clinic, appointment: Appointment) -> str:
    """Why an appointment cannot be kept as it was booked, in a few words; "" where it can."""
    closed = "closed by the clinic file" if appointment.on in clinic.closed else ""
    return closed or why_shut(diary, appointment)
