"""The facts that a decision table may be asked with, by name, for one eye on one day."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date

from rehab.care.case import Case, Cataract, Correction, Examination, Eye, EyeFindings, LensStatus
from rehab.care.history import lens_removal, lens_status, surgeries_of
from rehab.measures.acuity import Acuity, AcuityKind
from rehab.measures.acuity_change import logmar_difference_hundredths
from rehab.measures.dates import completed_months, corrected_birth
from rehab.measures.fixation import Finding, Nystagmus
from rehab.rules.domain import Value
from rehab.rules.protocol import Protocol

UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Moment:
    """One eye of one child on one day; `start` is the day its series of checks is anchored at."""

    case: Case
    eye: Eye
    on: date
    start: date
    protocol: Protocol


def known_on(case: Case, today: date) -> Case:
    """The case as it was known on `today`: nothing that happened later."""
    return replace(
        case,
        surgeries=tuple(s for s in case.surgeries if s.on <= today),
        examinations=tuple(e for e in case.examinations if e.on <= today),
        prescriptions=tuple(p for p in case.prescriptions if p.on <= today),
        sharing=case.sharing if case.sharing and case.sharing.on <= today else None,
    )


def facts(moment: Moment, names: Iterable[str]) -> Mapping[str, Value]:
    return {name: FACTS[name](moment) for name in names if name in FACTS}


def age_months(moment: Moment) -> int:
    return completed_months(moment.case.child.date_of_birth, moment.on)


def count_age_from(moment: Moment) -> date:
    """The day that age is counted from on this day: birth, or the expected birth if preterm."""
    child = moment.case.child
    weeks = child.gestation_weeks
    answer = moment.protocol.ask(
        "age_correction",
        moment.on,
        {"gestation_weeks": weeks or UNKNOWN, "age_months": age_months(moment)},
    )
    corrected = answer.word("count_age_from") == "expected birth" and weeks is not None
    return (
        corrected_birth(child.date_of_birth, weeks) if corrected and weeks else child.date_of_birth
    )


def corrected_age_months(moment: Moment) -> int:
    return max(0, completed_months(count_age_from(moment), moment.on))


def latest_findings(
    case: Case, eye: Eye, has: Callable[[EyeFindings], bool]
) -> tuple[Examination, EyeFindings] | None:
    """The last examination of `eye` whose findings hold what is asked for."""
    for examination in reversed(case.examinations):
        if has(found := examination.of(eye)):
            return examination, found
    return None


def cataract(case: Case, eye: Eye) -> Cataract:
    latest = latest_findings(case, eye, lambda f: f.cataract is not Cataract.UNKNOWN)
    return latest[1].cataract if latest else Cataract.UNKNOWN


def affected_eyes(case: Case) -> tuple[Eye, ...]:
    """Eyes whose lens was removed or has a cataract."""
    return tuple(
        eye
        for eye in Eye
        if lens_removal(case, eye) or cataract(case, eye) in (Cataract.PARTIAL, Cataract.DENSE)
    )


def laterality(case: Case) -> str:
    return ("none", "unilateral", "bilateral")[len(affected_eyes(case))]


def latest_acuities(case: Case) -> tuple[Acuity, Acuity] | None:
    """Right and left acuity that may be compared: same day, same kind and test."""
    for examination in reversed(case.examinations):
        for right in examination.of(Eye.RIGHT).acuities:
            for left in examination.of(Eye.LEFT).acuities:
                if logmar_difference_hundredths(right, left) is not None:
                    return right, left
    return None


def acuity_difference_hundredths(case: Case) -> int | None:
    """Right minus left in hundredths of a logMAR (above 0: the right eye is the weaker)."""
    pair = latest_acuities(case)
    return logmar_difference_hundredths(*pair) if pair else None


def weaker_eye(case: Case) -> Eye | None:
    """The eye that occlusion would treat; None when it is not known or the eyes are alike."""
    affected = affected_eyes(case)
    if len(affected) == 1:
        return affected[0]
    difference = acuity_difference_hundredths(case)
    if difference:
        return Eye.RIGHT if difference > 0 else Eye.LEFT
    not_maintained = [eye for eye in Eye if _maintained(case, eye) is Finding.NO]
    return not_maintained[0] if difference is None and len(not_maintained) == 1 else None


def _maintained(case: Case, eye: Eye) -> Finding:
    latest = latest_findings(case, eye, lambda f: f.fixation.maintained is not Finding.UNKNOWN)
    return latest[1].fixation.maintained if latest else Finding.UNKNOWN


def _fixation_preference(moment: Moment) -> str:
    held = {_maintained(moment.case, eye) for eye in Eye}
    if held == {Finding.YES}:
        return "equal"
    return "weaker eye not maintained" if held == {Finding.YES, Finding.NO} else UNKNOWN


def nystagmus(case: Case) -> Nystagmus:
    seen = (e.nystagmus for e in reversed(case.examinations))
    return next((n for n in seen if n is not Nystagmus.UNKNOWN), Nystagmus.UNKNOWN)


def sleep_hours_reported(moment: Moment) -> float | None:
    """The hours of sleep in 24 that the family reported, while its report holds."""
    said = [
        (e.on, e.sleep_minutes)
        for e in moment.case.examinations
        if e.sleep_minutes is not None and e.on <= moment.on
    ]
    if not said:
        return None
    reported_on, minutes = said[-1]
    days = (moment.on - reported_on).days
    answer = moment.protocol.ask("sleep_report", moment.on, {"days_since_report": days})
    return minutes / 60 if answer.word("holds") == "yes" else None


def correction_since(case: Case, eye: Eye) -> tuple[Correction, date | None]:
    """What `eye` wears, and the first examination from which on it was always so."""
    worn, since = Correction.UNKNOWN, None
    for examination in case.examinations:
        found = examination.of(eye).correction
        if found not in (Correction.UNKNOWN, worn):
            worn, since = found, examination.on
    return worn, since


def _weeks_in_correction(moment: Moment) -> Value:
    since = correction_since(moment.case, moment.eye)[1]
    return (moment.on - since).days // 7 if since else UNKNOWN


def _age_at_surgery_days(moment: Moment) -> int:
    removal = lens_removal(moment.case, moment.eye)
    day = removal.on if removal else moment.start
    return (day - moment.case.child.date_of_birth).days


def _weaker_eye_hundredths(moment: Moment) -> Value:
    """The last acuity by optotypes: the trials that give hours used no gratings."""

    def optotypes(found: EyeFindings) -> list[float]:
        return [
            a.logmar
            for a in found.acuities
            if a.kind is AcuityKind.OPTOTYPE and a.logmar is not None
        ]

    latest = latest_findings(moment.case, moment.eye, lambda f: bool(optotypes(f)))
    return round(max(optotypes(latest[1])) * 100) if latest else UNKNOWN


def _sutures(moment: Moment) -> str:
    return surgeries_of(moment.case, moment.eye)[-1].sutures


def _absolute_difference(moment: Moment) -> Value:
    difference = acuity_difference_hundredths(moment.case)
    return UNKNOWN if difference is None else abs(difference)


def _days_since_start(moment: Moment) -> int:
    return (moment.on - moment.start).days


def _lens_status(moment: Moment) -> LensStatus:
    return lens_status(moment.case, moment.eye, moment.on)


FACTS: Mapping[str, Callable[[Moment], Value]] = {
    "acuity_difference_hundredths": _absolute_difference,
    "age_at_surgery_days": _age_at_surgery_days,
    "age_months": age_months,
    "cataract": lambda m: cataract(m.case, m.eye),
    "correction": lambda m: correction_since(m.case, m.eye)[0],
    "corrected_age_months": corrected_age_months,
    "days_since_fitting": _days_since_start,
    "days_since_stop": _days_since_start,
    "days_since_surgery": _days_since_start,
    "fixation_preference": _fixation_preference,
    "laterality": lambda m: laterality(m.case),
    "lens_status": _lens_status,
    "nystagmus": lambda m: nystagmus(m.case),
    "sutures": _sutures,
    "weaker_eye_hundredths": _weaker_eye_hundredths,
    "weeks_in_correction": _weeks_in_correction,
}
