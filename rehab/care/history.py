"""What the operations did to each eye, and facts that contradict what is already recorded."""

from datetime import date, timedelta

from rehab.care.case import (
    Case,
    Ending,
    EndingKind,
    Examination,
    Eye,
    LensStatus,
    Procedure,
    Regimen,
    Surgery,
    Symptoms,
)
from rehab.errors import RecordError
from rehab.measures.fixation import Nystagmus
from rehab.measures.sleep import waking_hours

IMPLANTS = (Procedure.LENS_REMOVAL_WITH_IMPLANT, Procedure.SECONDARY_IMPLANT)
REMOVALS = (Procedure.LENS_REMOVAL, Procedure.LENS_REMOVAL_WITH_IMPLANT)
AFTER = {
    Procedure.LENS_REMOVAL: LensStatus.APHAKIC,
    Procedure.LENS_REMOVAL_WITH_IMPLANT: LensStatus.PSEUDOPHAKIC,
    Procedure.SECONDARY_IMPLANT: LensStatus.PSEUDOPHAKIC,
}
BEFORE = {
    Procedure.LENS_REMOVAL: (LensStatus.PHAKIC,),
    Procedure.LENS_REMOVAL_WITH_IMPLANT: (LensStatus.PHAKIC,),
    Procedure.SECONDARY_IMPLANT: (LensStatus.APHAKIC,),
    Procedure.MEMBRANE_CLEARANCE: (LensStatus.APHAKIC, LensStatus.PSEUDOPHAKIC),
    Procedure.OTHER_INTRAOCULAR: tuple(LensStatus),
}


def surgeries_of(case: Case, eye: Eye) -> tuple[Surgery, ...]:
    return tuple(surgery for surgery in case.surgeries if surgery.eye is eye)


def lens_removal(case: Case, eye: Eye) -> Surgery | None:
    """The operation that took the lens out of `eye`."""
    return next((s for s in surgeries_of(case, eye) if s.procedure in REMOVALS), None)


def lens_status(case: Case, eye: Eye, on: date) -> LensStatus:
    status = LensStatus.PHAKIC
    for surgery in surgeries_of(case, eye):
        if surgery.on <= on:
            status = AFTER.get(surgery.procedure, status)
    return status


def check_surgery(case: Case, surgery: Surgery, today: date) -> None:
    """Raises RecordError when `surgery` cannot follow what is recorded."""
    _check_day(case, surgery.on, today, "surgery")
    if surgery.target_quarters is not None and surgery.procedure not in IMPLANTS:
        raise RecordError(
            f"{surgery.procedure} sets no implant, so it aims at no refraction.",
            where=case.child.number,
            do=f"Leave the target out, or check the procedure ({', '.join(IMPLANTS)}).",
        )
    before = lens_status(case, surgery.eye, surgery.on)
    if before not in BEFORE[surgery.procedure]:
        earlier = [s for s in surgeries_of(case, surgery.eye) if s.on <= surgery.on]
        since = f" since {earlier[-1].procedure} on {earlier[-1].on}" if earlier else ""
        raise RecordError(
            f"the {surgery.eye} eye is {before}{since}, so {surgery.procedure} on {surgery.on} "
            "cannot be.",
            where=case.child.number,
            do="Check the eye, the date and the procedure, or correct the earlier record.",
        )
    later = [s for s in surgeries_of(case, surgery.eye) if s.on > surgery.on]
    status = AFTER.get(surgery.procedure, before)
    if later and status not in BEFORE[later[0].procedure]:
        raise RecordError(
            f"{later[0].procedure} of the {surgery.eye} eye on {later[0].on} cannot follow "
            f"{surgery.procedure} on {surgery.on}.",
            where=case.child.number,
            do="Check the eye, the date and the procedure, or correct the later record.",
        )


def check_examination(case: Case, examination: Examination, today: date) -> None:
    """Raises RecordError when a finding contradicts the operations recorded."""
    _check_day(case, examination.on, today, "examination")
    seen = examination.findings or examination.done or examination.note
    told = examination.symptoms != Symptoms() or examination.sleep_minutes is not None
    if not seen and not told and examination.nystagmus is Nystagmus.UNKNOWN:
        raise RecordError(
            "the examination holds no finding.",
            where=case.child.number,
            do="Give at least one, such as --pressure right=14.",
        )
    if examination.sleep_minutes is not None:
        waking_hours(0, examination.sleep_minutes / 60)
    for found in examination.findings:
        recorded = lens_status(case, found.eye, examination.on)
        # On the day of an operation the eye may have been seen before it.
        before = lens_status(case, found.eye, examination.on - timedelta(days=1))
        if found.lens_status not in (LensStatus.UNKNOWN, recorded, before):
            raise RecordError(
                f"the {found.eye} eye is {recorded} by the operations recorded, "
                f"but was found {found.lens_status} on {examination.on}.",
                where=examination.id or case.child.number,
                do="Record the missing operation, or correct the finding.",
            )
        if found.cataract in ("partial", "dense") and LensStatus.PHAKIC not in (recorded, before):
            raise RecordError(
                f"the {found.eye} eye is {recorded}, so its lens cannot have a cataract.",
                where=examination.id or case.child.number,
                do="For a membrane behind the pupil record visual axis hazy or opaque.",
            )


def check_ending(case: Case, ending: Ending, today: date) -> None:
    """Raises RecordError when nobody would go on looking after the child."""
    born = case.child.date_of_birth
    if not born <= ending.on <= today:
        raise RecordError(
            f"the ending on {ending.on} lies outside the child's life so far ({born} to {today}).",
            where=case.child.number,
            do="Check the date, or give --today.",
        )
    receives = bool(ending.receiving_clinic.strip())
    if ending.kind is EndingKind.TRANSFERRED and not receives:
        raise RecordError(
            "a transfer needs the clinic that goes on looking after the child.",
            where=case.child.number,
            do="Give it with --receiving-clinic, or keep the child here until one has agreed.",
        )


def check_regimen(case: Case, regimen: Regimen) -> None:
    """Raises RecordError for a regimen that would harm or overlap."""
    treated = regimen.occluded_eye.fellow
    affected = [eye for eye in Eye if lens_removal(case, eye) is not None]
    if affected == [regimen.occluded_eye]:
        raise RecordError(
            f"the {regimen.occluded_eye} eye is the operated one: occluding it would harm it.",
            where=case.child.number,
            do=f"Occlude the {treated} eye.",
        )
    if regimen.starts < case.child.date_of_birth:
        raise RecordError(
            f"occlusion from {regimen.starts} is before birth.",
            where=case.child.number,
            do="Check the date.",
        )
    for other in case.regimens:
        if other.id != regimen.id and _overlap(other, regimen):
            raise RecordError(
                f"{other.id} already occludes the {other.occluded_eye} eye from {other.starts}.",
                where=case.child.number,
                do="Stop it first, from the day on which the new one starts.",
            )


def _overlap(one: Regimen, other: Regimen) -> bool:
    return one.starts < (other.ends or date.max) and other.starts < (one.ends or date.max)


def _check_day(case: Case, on: date, today: date, what: str) -> None:
    if on < case.child.date_of_birth:
        raise RecordError(
            f"the {what} on {on} is before the birth on {case.child.date_of_birth}.",
            where=case.child.number,
            do="Check both dates.",
        )
    if on > today:
        raise RecordError(
            f"the {what} on {on} has not been yet (today is {today}).",
            where=case.child.number,
            do="Check the date, or give --today.",
        )
