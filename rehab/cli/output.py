"""How records look when printed: JSON for programs, aligned columns for people."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from datetime import date
from typing import Any

import click

from rehab.care.case import Case, Examination, EyeFindings, Prescription, Surgery
from rehab.care.checks import Check
from rehab.care.flags import Flag
from rehab.care.occlusion import Span
from rehab.care.plan import Plan
from rehab.care.problems import Problem
from rehab.care.sharing import Sharing
from rehab.care.visits import Visit
from rehab.measures.eye_size import write_axial_length, write_corneal_diameter
from rehab.measures.fixation import write_fixation
from rehab.measures.refraction import write_power, write_refraction
from rehab.rules.protocol import Because
from rehab.rules.table import ASSUMPTION

Json = dict[str, Any]


def print_json(value: Any) -> None:
    click.echo(json.dumps(value, indent=2, ensure_ascii=False))


def print_columns(rows: Iterable[Sequence[object]], heads: Sequence[str] = ()) -> None:
    """Left-aligned columns two spaces apart; nothing for no rows."""
    texts = [[str(cell) for cell in row] for row in rows]
    if not texts:
        return
    if heads:
        texts.insert(0, list(heads))
    widths = [max(len(row[n]) for row in texts) for n in range(len(texts[0]))]
    for row in texts:
        line = "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        click.echo(line.rstrip())


def day(on: date) -> str:
    return f"{on:%a} {on.day} {on:%b %Y}"


def words(name: str) -> str:
    return name.replace("_", " ")


def because_json(because: Because | None) -> Json | None:
    if because is None:
        return None
    return {
        "decision": because.decision,
        "edition": because.edition.isoformat(),
        "row": because.row,
        "source": because.source,
        "at": because.at,
        "citation": because.citation,
        "seen": because.seen,
        "table": because.digest,
        "facts": dict(because.facts),
        "counted": because.counted,
    }


def rests_on(because: Because) -> str:
    """The source of an answer and the place in it, in one line."""
    memory = "" if because.seen or because.source == ASSUMPTION else " (figure from memory)"
    return f"Source: {because.citation.rstrip('.')}{memory}; {because.at}."


def check_json(check: Check) -> Json:
    return {
        "key": check.key,
        "kind": check.kind,
        "eye": check.eye,
        "earliest": check.earliest.isoformat(),
        "target": check.target.isoformat(),
        "latest": check.latest.isoformat(),
        "by": check.by.isoformat(),
        "status": check.status,
        "because": because_json(check.because),
    }


def visit_json(visit: Visit) -> Json:
    return {
        "date": visit.on.isoformat(),
        "earliest": visit.earliest.isoformat(),
        "latest": visit.latest.isoformat(),
        "booked": visit.booked,
        "checks": [check.key for check in visit.checks],
    }


def span_json(span: Span) -> Json:
    return {
        "from": span.start.isoformat(),
        "until": span.until.isoformat(),
        "eye": span.eye,
        "hours_per_day": span.hours_per_day,
        "days_per_week": span.days_per_week,
        "method": span.method,
        "accepted": span.accepted,
        "because": because_json(span.because),
    }


def problem_json(problem: Problem) -> Json:
    return {
        "kind": problem.kind,
        "about": problem.about,
        "eye": problem.eye,
        "what": problem.what,
        "do": problem.do,
        "because": because_json(problem.because),
    }


def flag_json(flag: Flag) -> Json:
    return {
        "eye": flag.eye,
        "sentence": flag.sentence,
        "urgency": flag.urgency,
        "on": flag.on.isoformat(),
        "because": because_json(flag.because),
    }


def plan_json(plan: Plan) -> Json:
    return {
        "child": plan.child.number,
        "today": plan.today.isoformat(),
        "horizon": plan.horizon.isoformat(),
        "checks": [check_json(check) for check in plan.checks],
        "visits": [visit_json(visit) for visit in plan.visits],
        "occlusion": [span_json(span) for span in plan.occlusion],
        "problems": [problem_json(problem) for problem in plan.problems],
        "flags": [flag_json(flag) for flag in plan.flags],
    }


def child_json(case: Case) -> Json:
    child = case.child
    return {
        "number": child.number,
        "name": child.name,
        "date_of_birth": child.date_of_birth.isoformat(),
        "gestation_weeks": child.gestation_weeks,
        "language": child.language,
        "phone": child.phone,
        "surgeries": [
            {"id": s.id, "on": s.on.isoformat(), "eye": s.eye, "procedure": s.procedure,
             "sutures": s.sutures, "cause": s.cause,
             "target": None if s.target_quarters is None else write_power(s.target_quarters)}
            for s in case.surgeries
        ],
        "examinations": [_examination_json(e) for e in case.examinations],
        "regimens": [
            {"id": r.id, "occluded_eye": r.occluded_eye, "method": r.method,
             "minutes_per_day": r.minutes_per_day, "days_per_week": r.days_per_week,
             "starts": r.starts.isoformat(), "ends": r.ends and r.ends.isoformat(),
             "prescriber": r.prescriber, "reason": r.reason, "dose": r.dose,
             "near_activity": r.near_activity, "tapering": r.tapering,
             "review_on": r.review_on and r.review_on.isoformat(),
             "decided_on": r.decided_on and r.decided_on.isoformat(),
             "paused_from": r.paused_from and r.paused_from.isoformat(),
             "proposed_by": list(r.proposed_by)}
            for r in case.regimens
        ],
        "prescriptions": [prescription_json(p) for p in case.prescriptions],
        "appointments": [
            {"id": a.id, "on": a.on.isoformat(), "outcome": a.outcome} for a in case.appointments
        ],
        "ending": case.ending
        and {"kind": case.ending.kind, "on": case.ending.on.isoformat(), "note": case.ending.note,
             "receiving_clinic": case.ending.receiving_clinic},
        "sharing": sharing_json(case.sharing),
    }  # fmt: skip


def prescription_json(prescription: Prescription) -> Json:
    return {
        "id": prescription.id,
        "on": prescription.on.isoformat(),
        "until": prescription.until.isoformat(),
        "text": prescription.text,
        "prescriber": prescription.prescriber,
    }


def sharing_json(sharing: Sharing | None) -> Json | None:
    if sharing is None:
        return None
    return {
        "id": sharing.id,
        "on": sharing.on.isoformat(),
        "school": list(sharing.school),
        "agreed_by": sharing.agreed_by,
    }


def _examination_json(examination: Examination) -> Json:
    return {
        "id": examination.id,
        "on": examination.on.isoformat(),
        "nystagmus": examination.nystagmus,
        "under_anaesthesia": examination.under_anaesthesia,
        "done": [[kind, eye] for kind, eye in examination.done],
        "note": examination.note,
        "symptoms": asdict(examination.symptoms),
        "sleep_hours": _parted(examination.sleep_minutes, 60),
        "findings": [
            {
                "eye": f.eye,
                "acuity": [
                    {"written": a.written, "test": a.test, "logmar": a.logmar} for a in f.acuities
                ],
                "fixation": write_fixation(f.fixation),
                "pressure_mmhg": f.pressure and f.pressure.pressure_mmhg,
                "refraction": f.refraction and write_refraction(f.refraction),
                "visual_axis": f.visual_axis,
                "cataract": f.cataract,
                "lens_status": f.lens_status,
                "correction": f.correction,
                "corneal_diameter_mm": _parted(f.corneal_diameter_tenths_mm, 10),
                "axial_length_mm": _parted(f.axial_length_hundredths_mm, 100),
            }
            for f in examination.findings
        ],
    }


def surgery_text(surgery: Surgery) -> str:
    """One operation in a line."""
    said = f"{surgery.procedure} of the {surgery.eye} eye ({surgery.sutures} sutures)"
    if surgery.target_quarters is None:
        return said
    return f"{said}, aimed at {write_power(surgery.target_quarters)}"


def _parted(parts: int | None, per_mm: int) -> float | None:
    return None if parts is None else parts / per_mm


def findings_text(found: EyeFindings) -> str:
    """One eye's findings in a line, leaving out what was not looked at."""
    parts = [f"acuity {a.written}" for a in found.acuities]
    if (fixation := write_fixation(found.fixation)) != "unknown":
        parts.append(f"fixation {fixation}")
    if found.pressure:
        instrument = found.pressure.instrument
        by = "" if instrument == "unknown" else f" ({instrument})"
        parts.append(f"pressure {found.pressure.pressure_mmhg} mmHg{by}")
    if found.refraction:
        parts.append(f"refraction {write_refraction(found.refraction)}")
    if found.corneal_diameter_tenths_mm is not None:
        parts.append(f"cornea {write_corneal_diameter(found.corneal_diameter_tenths_mm)}")
    if found.axial_length_hundredths_mm is not None:
        parts.append(f"axial length {write_axial_length(found.axial_length_hundredths_mm)}")
    named = (
        ("visual axis", found.visual_axis),
        ("cataract", found.cataract),
        ("lens", found.lens_status),
        ("wears", found.correction),
    )
    parts += [f"{name} {value}" for name, value in named if value != "unknown"]
    return ", ".join(parts) or "nothing recorded"
