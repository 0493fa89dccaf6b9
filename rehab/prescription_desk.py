"""Prescriptions kept for letters: who may record one, and how a wrong one is put right."""

from datetime import date

from rehab.care.case import Prescription
from rehab.care.prescriptions import check_prescription
from rehab.care.regimen_life import Role
from rehab.errors import RecordError
from rehab.store.store import Stamp
from rehab.workflow import Desk


def record_prescription(
    desk: Desk,
    number: str,
    prescription: Prescription,
    *,
    today: date,
    stamp: Stamp,
    corrects: str | None = None,
) -> str:
    """The key of it; `corrects` is that of the prescription whose place it takes.

    Raises RecordError for whoever may not prescribe, and for what cannot be.
    """
    _check_person(desk, number, stamp.by)
    with desk.store.transaction() as tx:
        case = tx.case(number)
        check_prescription(case, prescription, today)
        if corrects is None:
            return tx.add(number, prescription, stamp)
        if corrects not in {p.id for p in case.prescriptions}:
            raise RecordError(
                f"no prescription of {number} is recorded as this, or it was withdrawn.",
                where=corrects,
                do=f"See which there are: rehab prescription list {number}",
            )
        tx.correct(corrects, prescription, stamp, tx.version(corrects))
        return corrects


def _check_person(desk: Desk, number: str, name: str) -> None:
    """Where the clinic's file names nobody, whoever records is taken at their word."""
    clinic = desk.settings.clinic
    role = clinic.role_of(name)
    if clinic.people and role is not Role.DOCTOR:
        has = role or "without a role in this clinic"
        raise RecordError(
            f"{name} ({has}) cannot record a prescription.",
            where=number,
            do="Let a doctor named under [people] in clinic.toml record it.",
        )
