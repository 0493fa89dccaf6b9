"""All that a letter may know of a child, whichever letter it is."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from types import MappingProxyType

from rehab.care.case import Case, Child, Correction, Eye, Prescription
from rehab.care.changes import ONE_DAY
from rehab.care.diary import Site
from rehab.care.plan import Plan
from rehab.care.prescriptions import in_force
from rehab.care.sharing import SchoolTopic
from rehab.clinic_days import ClinicDays
from rehab.letters.attendance import not_brought_on, seen_on
from rehab.letters.changes import Changes, Told, changes_of, told_visit
from rehab.letters.clinical import Clinical, clinical_of, drops_for, urgency_of
from rehab.letters.home import Home, home_of, trips_of
from rehab.letters.months import DayCell, Month, Shown, diary_of, months_of, shown_in
from rehab.letters.qr_code import qr_svg
from rehab.letters.school import shared_on, worn_on
from rehab.measures.dates import completed_months
from rehab.settings import Clinic

NO_DAYS = ClinicDays(())
NO_PLACES: Mapping[str, Site] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class PhoneCalendar:
    """What a phone's camera reads: the `address` of the family's calendar, or without one ("") the
    next booked visit itself."""

    text: str
    address: str

    @property
    def svg(self) -> str:
        """Drawn only for the letters that show it: drawing takes as long as all their words."""
        return qr_svg(self.text)


@dataclass(frozen=True, slots=True)
class About:
    """What a letter needs beside the plan.

    `case` holds what is recorded beside the plan, None where only the plan counts. `days` and
    `places` are the clinic's; `emergency` is the number for an ambulance, "" where none is known;
    `first_weekday` is 0 for Monday; `to` is whom a letter is addressed to;
    `plan_before` is the plan of the day before care here ended; `told` is what the last letter told
    the family.
    """

    case: Case | None = None
    days: ClinicDays = NO_DAYS
    places: Mapping[str, Site] = field(default_factory=lambda: NO_PLACES)
    emergency: str = ""
    calendar: PhoneCalendar | None = None
    first_weekday: int = 0
    to: str = ""
    plan_before: Plan | None = None
    told: Told | None = None


@dataclass(frozen=True, slots=True)
class LetterFacts:
    """The record `letter` of every template; `planned` says that there is a plan at all.

    `shown` is what the `months` show; `diary` are the days of a page to fill in; `not_brought_on`
    is the day of a visit to which the child was not brought, None when it was seen since; `shared`
    is what a school may be told beside the patch and what is `worn`; `told` is what this letter
    tells, and `changes` how it differs from the last one, None where there was none;
    `patching_stops` says that the hours end as somebody decided, not with a look that is due.
    """

    child: Child
    clinic: Clinic
    today: date
    planned: bool
    home: Home
    months: tuple[Month, ...]
    shown: Shown
    emergency: str
    prescriptions: tuple[Prescription, ...]
    calendar: PhoneCalendar | None
    to: str
    clinical: Clinical
    diary: tuple[DayCell, ...]
    not_brought_on: date | None
    worn: tuple[tuple[Eye, Correction], ...]
    shared: tuple[SchoolTopic, ...]
    told: Told
    changes: Changes | None
    age_months: int
    patching_stops: bool


def facts_of(plan: Plan, clinic: Clinic, about: About) -> LetterFacts:
    """The facts of a child's letters on the day of its plan."""
    home = home_of(plan, about.days, about.places)
    case = about.case or Case(plan.child)
    emergency = about.emergency or clinic.emergency_phone
    prescriptions = in_force(case, plan.today)
    months = months_of(home.hours, home.trips, plan.today, about.first_weekday)
    clinical = clinical_of(about.plan_before or plan, case, plan.today)
    told = Told(
        on=plan.today,
        clinic=(clinic.name, clinic.address),
        urgency=urgency_of(clinical),
        patching=home.patching,
        drops=drops_for(clinical),
        hours=home.hours,
        visits=tuple(told_visit(trip) for trip in home.trips),
        numbers=(clinic.phone, clinic.out_of_hours, emergency),
        written=tuple(prescription.text for prescription in prescriptions),
    )
    return LetterFacts(
        child=plan.child,
        # Templates of the clinic's own see all that is here, and what they print is handed out.
        clinic=replace(clinic, feed_secret="", smtp=None, people=()),
        today=plan.today,
        planned=bool(plan.checks or plan.visits or plan.occlusion or plan.problems),
        home=home,
        months=months,
        shown=shown_in(months),
        emergency=emergency,
        prescriptions=prescriptions,
        calendar=about.calendar,
        to=about.to,
        clinical=clinical,
        age_months=completed_months(plan.child.date_of_birth, plan.today),
        patching_stops=home.hold_until is not None and _stops(case, home.hold_until + ONE_DAY),
        diary=diary_of(home.hours, home.trips, plan.today),
        not_brought_on=not_brought_on(case, plan.today),
        worn=worn_on(case, plan.today),
        shared=shared_on(case, plan.today),
        told=told,
        changes=changes_of(
            about.told,
            told,
            trips_of(plan, about.days, about.places),
            seen_today=seen_on(case, plan.today),
        )
        if about.told
        else None,
    )


def _stops(case: Case, on: date) -> bool:
    """Whether a regimen ends on a day as somebody decided, and none begins then or later."""
    ends = any(regimen.ends == on for regimen in case.regimens)
    return ends and all(regimen.starts < on for regimen in case.regimens)
