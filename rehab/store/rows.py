"""Records to rows and back: one explicit pair for each, and nothing lost between.

A row holds the content of a record. The key, which is the record's id, belongs to the store.
"""

from collections.abc import Mapping
from dataclasses import asdict, fields
from datetime import date
from typing import Any

from rehab.care.case import (
    CheckKind,
    Child,
    Ending,
    Examination,
    Eye,
    EyeFindings,
    Regimen,
    Surgery,
    Symptoms,
)
from rehab.care.changes import Entry
from rehab.care.proposals import KeptProposal
from rehab.care.wear import WearDay
from rehab.measures.acuity import Acuity, parse_acuity
from rehab.measures.fixation import Finding, Fixation
from rehab.measures.pressure import Pressure
from rehab.measures.refraction import Refraction
from rehab.rules.protocol import Because

Row = dict[str, Any]
Stored = Mapping[str, Any]


def child_to_row(child: Child) -> Row:
    return {
        "name": child.name,
        "date_of_birth": child.date_of_birth,
        "gestation_weeks": child.gestation_weeks,
        "language": child.language,
        "phone": child.phone,
        "family": child.family,
    }


def child_from_row(row: Stored) -> Child:
    return Child(
        number=row["key"],
        name=row["name"],
        date_of_birth=row["date_of_birth"],
        gestation_weeks=row["gestation_weeks"],
        language=row["language"],
        phone=row["phone"],
        family=row["family"],
    )


def surgery_to_row(surgery: Surgery) -> Row:
    return {
        "eye": surgery.eye,
        "on": surgery.on,
        "procedure": surgery.procedure,
        "sutures": surgery.sutures,
        "cause": surgery.cause,
        "target_quarters": surgery.target_quarters,
    }


def surgery_from_row(row: Stored) -> Surgery:
    return Surgery(
        id=row["key"],
        eye=row["eye"],
        on=row["on"],
        procedure=row["procedure"],
        sutures=row["sutures"],
        cause=row["cause"],
        target_quarters=row["target_quarters"],
    )


def examination_to_row(examination: Examination) -> Row:
    """The examination without its findings, which have rows of their own."""
    return {
        "on": examination.on,
        "nystagmus": examination.nystagmus,
        "under_anaesthesia": examination.under_anaesthesia,
        "done": [[kind.value, eye.value] for kind, eye in examination.done],
        "note": examination.note,
        "symptoms": asdict(examination.symptoms),
        "sleep_minutes": examination.sleep_minutes,
    }


def examination_from_row(row: Stored) -> Examination:
    """The examination of a row to which its findings were added as `findings`."""
    return Examination(
        id=row["key"],
        on=row["on"],
        findings=tuple(row["findings"]),
        nystagmus=row["nystagmus"],
        under_anaesthesia=row["under_anaesthesia"],
        done=tuple((CheckKind(kind), Eye(eye)) for kind, eye in row["done"]),
        note=row["note"],
        symptoms=_symptoms(row["symptoms"]),
        sleep_minutes=row["sleep_minutes"],
    )


def _symptoms(stored: Mapping[str, str] | None) -> Symptoms:
    return Symptoms(**{name: Finding(said) for name, said in (stored or {}).items()})


def findings_to_row(findings: EyeFindings) -> Row:
    """What was found in one eye without its acuities, which have rows of their own."""
    pressure, refraction = findings.pressure, findings.refraction
    return {
        "eye": findings.eye,
        "central": findings.fixation.central,
        "steady": findings.fixation.steady,
        "maintained": findings.fixation.maintained,
        "follows": findings.fixation.follows,
        "pressure_mmhg": pressure.pressure_mmhg if pressure else None,
        "instrument": pressure.instrument if pressure else None,
        "sphere_quarters": refraction.sphere_quarters if refraction else None,
        "cylinder_quarters": refraction.cylinder_quarters if refraction else None,
        "axis_degrees": refraction.axis_degrees if refraction else None,
        "visual_axis": findings.visual_axis,
        "cataract": findings.cataract,
        "lens_status": findings.lens_status,
        "correction": findings.correction,
        "corneal_diameter_tenths_mm": findings.corneal_diameter_tenths_mm,
        "axial_length_hundredths_mm": findings.axial_length_hundredths_mm,
    }


def findings_from_row(row: Stored) -> EyeFindings:
    """The findings of a row to which its acuities were added as `acuities`."""
    return EyeFindings(
        eye=row["eye"],
        acuities=tuple(row["acuities"]),
        fixation=Fixation(
            central=row["central"],
            steady=row["steady"],
            maintained=row["maintained"],
            follows=row["follows"],
        ),
        pressure=_pressure(row),
        refraction=_refraction(row),
        visual_axis=row["visual_axis"],
        cataract=row["cataract"],
        lens_status=row["lens_status"],
        correction=row["correction"],
        corneal_diameter_tenths_mm=row["corneal_diameter_tenths_mm"],
        axial_length_hundredths_mm=row["axial_length_hundredths_mm"],
    )


def _pressure(row: Stored) -> Pressure | None:
    if row["pressure_mmhg"] is None:
        return None
    return Pressure(row["pressure_mmhg"], row["instrument"])


def _refraction(row: Stored) -> Refraction | None:
    if row["sphere_quarters"] is None:
        return None
    return Refraction(row["sphere_quarters"], row["cylinder_quarters"], row["axis_degrees"])


def acuity_to_row(acuity: Acuity) -> Row:
    """The acuity as it was written: what it means is read again each time."""
    return {
        "written": acuity.written,
        "test": acuity.test,
        "distance_cm": acuity.distance_cm,
        "correction": acuity.correction,
    }


def acuity_from_row(row: Stored) -> Acuity:
    return parse_acuity(
        row["written"],
        test=row["test"],
        distance_cm=row["distance_cm"],
        correction=row["correction"],
    )


def regimen_to_row(regimen: Regimen) -> Row:
    return {
        "occluded_eye": regimen.occluded_eye,
        "method": regimen.method,
        "minutes_per_day": regimen.minutes_per_day,
        "days_per_week": regimen.days_per_week,
        "starts": regimen.starts,
        "ends": regimen.ends,
        "prescriber": regimen.prescriber,
        "prescribed_because": regimen.reason,
        "near_activity": regimen.near_activity,
        "review_on": regimen.review_on,
        "decided_on": regimen.decided_on,
        "proposed_by": list(regimen.proposed_by),
        "tapering": regimen.tapering,
        "paused_from": regimen.paused_from,
    }


def regimen_from_row(row: Stored) -> Regimen:
    return Regimen(
        id=row["key"],
        occluded_eye=row["occluded_eye"],
        method=row["method"],
        minutes_per_day=row["minutes_per_day"],
        days_per_week=row["days_per_week"],
        starts=row["starts"],
        prescriber=row["prescriber"],
        reason=row["prescribed_because"],
        ends=row["ends"],
        near_activity=row["near_activity"],
        review_on=row["review_on"],
        decided_on=row["decided_on"],
        proposed_by=tuple(row["proposed_by"]),
        tapering=row["tapering"],
        paused_from=row["paused_from"],
    )


def proposal_to_row(proposal: KeptProposal) -> Row:
    row = {f.name: getattr(proposal, f.name) for f in fields(proposal) if f.name != "id"}
    because = [{**asdict(b), "edition": b.edition.isoformat()} for b in proposal.because]
    return {
        **row,
        "cautions": list(proposal.cautions),
        "found": list(proposal.found),
        "because": because,
    }


def proposal_from_row(row: Stored) -> KeptProposal:
    content = {f.name: row[f.name] for f in fields(KeptProposal) if f.name != "id"}
    return KeptProposal(
        id=row["key"],
        **{
            **content,
            "cautions": tuple(row["cautions"]),
            "found": tuple(row["found"]),
            "because": tuple(_because(stored) for stored in row["because"]),
        },
    )


def _because(stored: Stored) -> Because:
    facts = tuple((name, value) for name, value in stored["facts"])
    edition = date.fromisoformat(stored["edition"])
    return Because(**{**stored, "edition": edition, "facts": facts})


def wear_to_row(day: WearDay) -> Row:
    return {"on": day.on, "minutes": day.minutes, "written_on": day.written_on}


def wear_from_row(row: Stored) -> WearDay:
    return WearDay(row["on"], row["minutes"], row["written_on"])


def ending_to_row(ending: Ending) -> Row:
    return {field.name: getattr(ending, field.name) for field in fields(ending)}


def ending_from_row(row: Stored) -> Ending:
    return Ending(**{field.name: row[field.name] for field in fields(Ending)})


def entry_to_row(entry: Entry) -> Row:
    row = {field.name: getattr(entry, field.name) for field in fields(entry)}
    return {**row, "checks": list(entry.checks)}


def entry_from_row(row: Stored) -> Entry:
    content = {field.name: row[field.name] for field in fields(Entry)}
    return Entry(**{**content, "checks": tuple(row["checks"])})
