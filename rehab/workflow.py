"""What the clinic does: record, plan, accept, refresh, recall; owns the transactions."""

import re
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property, lru_cache, partial

from rehab.care.booking import in_words
from rehab.care.case import (
    CANCELLED,
    Appointment,
    Case,
    CheckKind,
    Child,
    Ending,
    Examination,
    Outcome,
    Surgery,
)
from rehab.care.changes import Entry, follow
from rehab.care.contact_checks import (
    check_contact,
    check_phone,
    check_text,
    check_try,
    printable,
)
from rehab.care.contacts import Limits
from rehab.care.diary import Diary
from rehab.care.history import check_ending, check_examination, check_regimen, check_surgery
from rehab.care.plan import Plan, make_plan
from rehab.care.prescriptions import check_prescription
from rehab.care.recall import LOOK_AHEAD, Recall, recall_list
from rehab.care.session_room import missing_awake
from rehab.care.sharing import check_sharing
from rehab.care.tracing import arranged
from rehab.care.wear import WearDay, check_day
from rehab.clinic_days import ClinicDays, clinic_days, with_closed_days
from rehab.errors import RecordError, RehabError
from rehab.measures.dates import add_months
from rehab.rules.protocol import Protocol
from rehab.session_dates import session_of, why_shut
from rehab.settings import Settings
from rehab.store.store import Stamp, Store, Transaction, open_store
from rehab.table_files import read_protocol

NUMBER = re.compile(r"[^\W_][\w.-]{0,39}")
OLDEST_YEARS = 40


@dataclass(frozen=True)
class Desk:
    """One clinic's settings, protocol and store, opened for one run of a command.

    The diary that plans follow is read once, when first needed, and not again.
    """

    settings: Settings
    protocol: Protocol
    store: Store

    @cached_property
    def diary(self) -> Diary:
        """With the days that the clinic file closes."""
        return with_closed_days(self.store.diary(), self.settings.clinic)

    @cached_property
    def days(self) -> Callable[[date, date], ClinicDays]:
        """The days a plan may use, from one day to before another; each worked out once."""
        return lru_cache(maxsize=8)(partial(clinic_days, self.diary, self.settings.clinic))

    def why_shut(self, appointment: Appointment) -> str:
        """Why a booked appointment cannot be kept; "" where it can."""
        return why_shut(self.diary, appointment)

    def not_offered(self, appointment: Appointment, kinds: frozenset[CheckKind]) -> str:
        """Which of these checks the session of a booked appointment does not offer, in words. What
        needs sleep waits for its own list."""
        session = session_of(self.diary, appointment.session) if appointment.session else None
        if session is None or session.under_anaesthesia:
            return ""
        return in_words(sorted(missing_awake(session, kinds)))


def open_desk(settings: Settings) -> Desk:
    return Desk(settings, read_protocol(settings.tables), open_store(settings.database_url))


def add_child(desk: Desk, child: Child, *, today: date, stamp: Stamp) -> str:
    """Raises RecordError for a birth in the future or a number already used."""
    check_child(child, today)
    with desk.store.transaction() as tx:
        return tx.add(child.number, child, stamp)


def register(
    desk: Desk, case: Case, wear: Sequence[WearDay] = (), *, today: date, stamp: Stamp
) -> None:
    """Record a child with everything known so far, whole or not at all."""
    with desk.store.transaction() as tx:
        register_within(tx, case, wear, today=today, stamp=stamp)


def register_within(
    tx: Transaction, case: Case, wear: Sequence[WearDay] = (), *, today: date, stamp: Stamp
) -> None:
    """As `register`, together with what else this transaction writes."""
    number = case.child.number
    check_child(case.child, today)
    tx.add(number, case.child, stamp)
    for surgery in case.surgeries:
        check_surgery(tx.case(number), surgery, today)
        tx.add(number, replace(surgery, id=""), stamp)
    for examination in case.examinations:
        check_examination(tx.case(number), examination, today)
        tx.add(number, replace(examination, id=""), stamp)
    for regimen in case.regimens:
        check_regimen(tx.case(number), regimen)
        tx.add(number, replace(regimen, id=""), stamp)
    for prescription in case.prescriptions:
        check_prescription(case, prescription, today)
        tx.add(number, replace(prescription, id=""), stamp)
    for appointment in case.appointments:
        check_appointment(case.child, appointment, today)
        tx.add(number, replace(appointment, id=""), stamp)
    if case.ending is not None:
        check_ending(case, case.ending, today)
        tx.add(number, case.ending, stamp)
    for contact in case.contacts:
        check_contact(contact, number)
        tx.add(number, replace(contact, id=""), stamp)
    if case.limits != Limits():
        tx.add(number, replace(case.limits, id=""), stamp)
    for made in case.tries:
        check_try(made, case.child.date_of_birth, today, number)
        tx.add(number, replace(made, id=""), stamp)
    if case.sharing is not None:
        check_sharing(case.sharing, None, case.child.date_of_birth, today, number)
        tx.add(number, replace(case.sharing, id=""), stamp)
    for day in wear:
        check_day(day, case.child, today)
    tx.record_wear(number, wear, stamp)


def add_surgery(desk: Desk, number: str, surgery: Surgery, *, today: date, stamp: Stamp) -> str:
    with desk.store.transaction() as tx:
        case = tx.case(number)
        check_surgery(case, surgery, today)
        with_it = replace(case, surgeries=(*case.surgeries, surgery))
        for examination in case.examinations:
            check_examination(with_it, examination, today)
        return tx.add(number, surgery, stamp)


def add_examination(
    desk: Desk, number: str, examination: Examination, *, today: date, stamp: Stamp
) -> str:
    with desk.store.transaction() as tx:
        check_examination(tx.case(number), examination, today)
        return tx.add(number, examination, stamp)


def correct_appointment(tx: Transaction, appointment: Appointment, stamp: Stamp, why: str) -> None:
    """Supersedes the appointment of this id; `why` is said where the writer gave no reason."""
    reasoned = replace(stamp, reason=stamp.reason or why)
    tx.correct(appointment.id, appointment, reasoned, tx.version(appointment.id))


def settle_appointment(
    desk: Desk, number: str, on: date, outcome: Outcome, *, today: date, stamp: Stamp
) -> str:
    """Record what became of the appointment on `on`; raises RecordError when there is none."""
    with desk.store.transaction() as tx:
        case = tx.case(number)
        made = [a for a in case.appointments if a.on == on]
        if not made:
            raise RecordError(f"no appointment on {on}.", where=number, do="Check the date.")
        open_ones = [a for a in made if a.outcome is Outcome.BOOKED]
        appointment = replace((open_ones or made)[-1], outcome=outcome)
        if outcome in (Outcome.BOOKED, *CANCELLED):
            appointment = arranged(appointment, case, today)
        check_appointment(case.child, appointment, today)
        correct_appointment(tx, appointment, stamp, f"outcome: {outcome}")
        return appointment.id


def settle_day(
    desk: Desk, on: date, missed: Collection[str], attended: int, *, today: date, stamp: Stamp
) -> tuple[tuple[str, Outcome], ...]:
    """Record that all who were booked on `on` attended, but for the numbers in `missed`, who were
    not brought. What is recorded already stays.

    Raises RecordError for who was not booked, and unless `attended` have come: a child who was
    forgotten here would count as seen.
    """
    with desk.store.transaction() as tx:
        booked = [
            (case, appointment)
            for number, appointment in tx.unsettled(on)
            if (ending := (case := tx.case(number)).ending) is None or ending.on >= on
        ]
        if strangers := sorted(set(missed) - {case.child.number for case, _ in booked}):
            raise RecordError(
                f"{', '.join(strangers)} had no appointment that is still open.",
                where=f"{on}",
                do="Nothing was recorded. Check the numbers and the day.",
            )
        if len(booked) - len(set(missed)) != attended:
            raise RecordError(
                f"{len(booked)} were booked and {len(set(missed))} of them are named as not "
                f"brought, so {attended} cannot have attended.",
                where=f"{on}",
                do="Nothing was recorded. Compare the list of that day with who came.",
            )
        outcomes = []
        for case, appointment in booked:
            number = case.child.number
            outcome = Outcome.WAS_NOT_BROUGHT if number in missed else Outcome.ATTENDED
            settled = replace(appointment, outcome=outcome)
            check_appointment(case.child, settled, today)
            correct_appointment(tx, settled, stamp, f"outcome: {outcome}")
            outcomes.append((number, outcome))
        return tuple(outcomes)


def end_care(
    desk: Desk, number: str, ending: Ending, *, today: date, stamp: Stamp
) -> tuple[str, tuple[date, ...]]:
    """The ending's key, and the days of the appointments after it, which are cancelled."""
    with desk.store.transaction() as tx:
        case = tx.case(number)
        check_ending(case, ending, today)
        key = tx.add(number, ending, stamp)
        ahead = [a for a in case.appointments if a.outcome is Outcome.BOOKED and a.on > ending.on]
        for a in ahead:
            gone = arranged(replace(a, outcome=Outcome.CANCELLED_BY_CLINIC), case, today)
            correct_appointment(tx, gone, stamp, f"care ended: {ending.kind}")
        return key, tuple(a.on for a in ahead)


def check_child(child: Child, today: date) -> None:
    """Raises RecordError for a number, name or day of birth that cannot be."""
    if not NUMBER.fullmatch(child.number):
        raise RecordError(
            f"{child.number!r} cannot be a child's number.",
            do="Use at most 40 letters, digits, dots and hyphens, such as M-014.",
        )
    if not child.name.strip() or not printable(child.name):
        raise RecordError(
            f"{child.name!r} is no name that can be printed.",
            where=child.number,
            do="Give the name that the family uses.",
        )
    check_phone(child.phone, child.number)
    if not child.language.strip():
        raise RecordError(
            "the home language is empty.",
            where=child.number,
            do='Write one, such as sw, or "unknown".',
        )
    for name, word in (("language", child.language), ("family", child.family)):
        check_text(name, word, child.number)
    if (today - child.date_of_birth).days > OLDEST_YEARS * 366:
        raise RecordError(
            f"the date of birth {child.date_of_birth} is more than {OLDEST_YEARS} years ago.",
            where=child.number,
            do="Check the year: this program plans for children.",
        )
    if child.date_of_birth > today:
        raise RecordError(
            f"the date of birth {child.date_of_birth} is after today, {today}.",
            where=child.number,
            do="Check the date, or give --today.",
        )
    if child.gestation_weeks is not None and not 22 <= child.gestation_weeks < 46:
        raise RecordError(
            f"{child.gestation_weeks} weeks of gestation cannot be.",
            where=child.number,
            do="Give completed weeks from 22 to 45, or leave it out when it is not known.",
        )


def check_appointment(child: Child, appointment: Appointment, today: date) -> None:
    """Raises RecordError for one before the birth, or settled before its day."""
    if appointment.on < child.date_of_birth:
        raise RecordError(
            f"the appointment on {appointment.on} is before the birth on {child.date_of_birth}.",
            where=child.number,
            do="Check both dates.",
        )
    if (
        appointment.outcome in (Outcome.ATTENDED, Outcome.WAS_NOT_BROUGHT)
        and appointment.on > today
    ):
        raise RecordError(
            f"the appointment on {appointment.on} has not been yet (today is {today}).",
            where=child.number,
            do="Check the date, or give --today.",
        )


def plan_of(desk: Desk, case: Case, *, today: date) -> Plan:
    horizon = add_months(today, desk.settings.clinic.horizon_months)
    days = desk.days(today, horizon)
    return make_plan(
        case,
        desk.protocol,
        today=today,
        horizon=horizon,
        open_days=days.open_days,
        lists=days.lists,
    )


def plan_or_why(desk: Desk, case: Case, *, today: date) -> Plan | RehabError:
    """The plan, or why none can be made: one child must not hold up the others."""
    try:
        return plan_of(desk, case, today=today)
    except RehabError as error:
        return error


def refresh(
    desk: Desk, number: str, *, today: date
) -> tuple[Plan, tuple[Entry, ...], tuple[Entry, ...]]:
    """Plan anew and let the family's calendar follow: the plan, the entries before and after."""
    with desk.store.transaction() as tx:
        return refresh_within(tx, desk, number, today=today)


def refresh_within(
    tx: Transaction, desk: Desk, number: str, *, today: date
) -> tuple[Plan, tuple[Entry, ...], tuple[Entry, ...]]:
    """As `refresh`, together with what else this transaction writes."""
    plan = plan_of(desk, tx.case(number), today=today)
    before = tx.entries(number)
    after = follow(before, plan)
    if after != before:
        tx.set_entries(number, after)
    return plan, before, after


def recall(desk: Desk, *, today: date, by: date) -> tuple[Recall, ...]:
    """The list of the whole clinic; a child that cannot be planned stands on it with why."""
    plans = ((case, plan_or_why(desk, case, today=today)) for case in desk.store.cases())
    return _listed(desk, plans, today=today, by=by)


def recall_of(
    desk: Desk, case: Case, plan: Plan | RehabError, *, today: date, by: date | None = None
) -> Recall | None:
    """The line of one child, None when nobody needs to contact its family; `by` is the last day
    to look ahead to, unless that is as far as the list does."""
    lines = _listed(desk, ((case, plan),), today=today, by=by or today + LOOK_AHEAD)
    return lines[0] if lines else None


def _listed(
    desk: Desk, plans: Iterable[tuple[Case, Plan | RehabError]], *, today: date, by: date
) -> tuple[Recall, ...]:
    return recall_list(
        plans,
        desk.protocol,
        today=today,
        by=by,
        why_shut=desk.why_shut,
        not_offered=desk.not_offered,
    )
