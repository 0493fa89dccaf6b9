"""Case files: children, their facts and a diary in TOML, for demo data and stories of tests."""

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from rehab.care.case import (
    Appointment,
    Case,
    Cause,
    Child,
    Ending,
    EndingKind,
    Examination,
    Eye,
    EyeFindings,
    Method,
    Outcome,
    Prescription,
    Procedure,
    Regimen,
    Surgery,
    Sutures,
    Symptoms,
    case_of,
    with_family,
)
from rehab.care.contacts import Consent, Contact, ContactTry, Limits, TryOutcome, Way
from rehab.care.diary import ASLEEP, AT_CLINIC, SessionPattern, Site
from rehab.care.findings import TYPED, read_check, read_findings, read_word
from rehab.care.sharing import SchoolTopic, Sharing
from rehab.care.wear import WearDay
from rehab.errors import RecordError, RehabError
from rehab.measures.dates import WEEKDAYS
from rehab.measures.fixation import Finding, Nystagmus
from rehab.measures.refraction import parse_target
from rehab.session_dates import weekday_rule

CHILD = {field.name for field in fields(Child)} - {"date_of_birth"} | {
    "born",
    "surgery",
    "exam",
    "occlusion",
    "appointment",
    "ending",
    "contact",
    "limits",
    "tried",
    "prescription",
    "sharing",
    "story",
    "wear",
}
SYMPTOMS = {field.name for field in fields(Symptoms)}
EXAM = {"on", "right", "left", "test", "nystagmus", "under_anaesthesia", "done", "note"}
EXAM |= SYMPTOMS | {"sleep_hours"}
REGIMEN = {"eye", "starts", "ends", "minutes_per_day", "days_per_week", "method", "who", "why"}
REGIMEN |= {"near_activity", "review_on", "decided_on", "tapering", "paused_from"}


@dataclass(frozen=True, slots=True)
class CaseFile:
    """The children of one file, and the day on which their stories stand."""

    today: date
    told: tuple["Told", ...]


@dataclass(frozen=True, slots=True)
class Told:
    """One child of a case file, with its days of wear and the story that it stands for."""

    case: Case
    story: str
    wear: tuple[WearDay, ...] = ()


def read_cases(path: Path) -> CaseFile:
    """Every child of the file; raises RecordError with the child's number and what is wrong."""
    content = _content(path)
    try:
        _only(content, {"today", "child"})
        today = _day(content, "today")
    except RecordError as error:
        raise RecordError(error.what, where=path.name, do=error.do) from None
    return CaseFile(today, tuple(_told(raw, path.name) for raw in content.get("child", [])))


def read_diary(path: Path) -> tuple[Site | SessionPattern, ...]:
    """The sites and session patterns of the file; raises RecordError with what is wrong."""
    content = _content(path)
    try:
        _only(content, {"site", "session"})
        sites = tuple(Site(**raw) for raw in content.get("site", []))
        return (*sites, *(_pattern(raw) for raw in content.get("session", [])))
    except TypeError as error:
        raise RecordError(f"{error}.", where=path.name, do="Correct the file.") from None
    except RecordError as error:
        raise RecordError(error.what, where=path.name, do=error.do) from None


def _pattern(raw: Mapping[str, Any]) -> SessionPattern:
    days = [WEEKDAYS.index(day) for day in _needed(raw, "weekdays")]
    kinds = ASLEEP if raw.get("under_anaesthesia") else AT_CLINIC
    rest = {name: value for name, value in raw.items() if name != "weekdays"}
    return SessionPattern(**rest, rule=weekday_rule(days), kinds=kinds)


def _content(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise RecordError(f"{error}.", where=path.name, do="Correct the file.") from None


def case_from(raw: Mapping[str, Any]) -> Case:
    """The case of one [[child]] table."""
    _only(raw, CHILD)
    child = Child(
        number=_needed(raw, "number"),
        name=_needed(raw, "name"),
        date_of_birth=_day(raw, "born"),
        **{
            key: raw[key]
            for key in ("gestation_weeks", "language", "phone", "family")
            if key in raw
        },
    )
    case = case_of(
        child,
        surgeries=tuple(
            _surgery(item, f"{child.number}/S{n}")
            for n, item in enumerate(_items(raw, "surgery"), 1)
        ),
        examinations=tuple(
            _examination(item, f"{child.number}/X{n}")
            for n, item in enumerate(_items(raw, "exam"), 1)
        ),
        regimens=tuple(
            _regimen(item, f"{child.number}/R{n}")
            for n, item in enumerate(_items(raw, "occlusion"), 1)
        ),
        appointments=tuple(
            Appointment(
                f"{child.number}/A{n}", item["on"], _word(Outcome, item, "outcome", "booked")
            )
            for n, item in enumerate(_items(raw, "appointment"), 1)
        ),
        ending=_ending(raw.get("ending")),
        prescriptions=tuple(
            _prescription(item, f"{child.number}/D{n}")
            for n, item in enumerate(_items(raw, "prescription"), 1)
        ),
    )
    return with_family(
        case,
        tuple(
            _contact(item, f"{child.number}/C{n}")
            for n, item in enumerate(raw.get("contact", []), 1)
        ),
        _limits(raw.get("limits")),
        tuple(_try(item, f"{child.number}/T{n}") for n, item in enumerate(_items(raw, "tried"), 1)),
        _sharing(raw.get("sharing"), f"{child.number}/G1"),
    )


def _told(raw: Mapping[str, Any], file: str) -> Told:
    where = f"{file}, child {raw.get('number', 'without a number')}"
    try:
        return Told(case_from(raw), raw.get("story", ""), tuple(_wear(raw)))
    except RehabError as error:
        raise RecordError(error.what, where=where, do=error.do) from None


def _wear(raw: Mapping[str, Any]) -> Iterator[WearDay]:
    """Minutes of one day after the other; days that nobody wrote down lie between two items."""
    for item in raw.get("wear", []):
        _only(item, {"from", "minutes"})
        start = _day(item, "from")
        for n, minutes in enumerate(_needed(item, "minutes")):
            yield WearDay(start + timedelta(days=n), minutes)


def _surgery(raw: Mapping[str, Any], key: str) -> Surgery:
    _only(raw, {"on", "eye", "procedure", "sutures", "cause", "target"})
    return Surgery(
        key,
        _word(Eye, raw, "eye"),
        raw["on"],
        _word(Procedure, raw, "procedure"),
        _word(Sutures, raw, "sutures", "unknown"),
        _word(Cause, raw, "cause", "unknown"),
        parse_target(str(raw["target"])) if "target" in raw else None,
    )


def _examination(raw: Mapping[str, Any], key: str) -> Examination:
    _only(raw, EXAM)
    found = (_findings(Eye(eye), raw[eye], raw.get("test", "unknown")) for eye in Eye if eye in raw)
    return Examination(
        id=key,
        on=raw["on"],
        findings=tuple(found),
        nystagmus=_word(Nystagmus, raw, "nystagmus", "unknown"),
        under_anaesthesia=raw.get("under_anaesthesia", False),
        done=tuple(
            (read_check(said), read_word(Eye, eye, "an eye"))
            for eye, _, said in (item.partition("=") for item in raw.get("done", []))
        ),
        note=raw.get("note", ""),
        symptoms=Symptoms(**{name: _word(Finding, raw, name, "unknown") for name in SYMPTOMS}),
        sleep_minutes=round(raw["sleep_hours"] * 60) if "sleep_hours" in raw else None,
    )


def _findings(eye: Eye, raw: Mapping[str, Any], test: str) -> EyeFindings:
    _only(raw, set(TYPED))
    said = {name: [value] if isinstance(value, str) else value for name, value in raw.items()}
    return read_findings(eye, said, test)


def _regimen(raw: Mapping[str, Any], key: str) -> Regimen:
    _only(raw, REGIMEN)
    return Regimen(
        id=key,
        occluded_eye=_word(Eye, raw, "eye"),
        method=_word(Method, raw, "method", "adhesive patch"),
        minutes_per_day=raw.get("minutes_per_day"),
        days_per_week=raw.get("days_per_week", 7),
        starts=_day(raw, "starts"),
        prescriber=_needed(raw, "who"),
        reason=raw.get("why", ""),
        ends=_day_or_none(raw, "ends"),
        near_activity=raw.get("near_activity", ""),
        review_on=_day_or_none(raw, "review_on"),
        decided_on=_day_or_none(raw, "decided_on"),
        tapering=raw.get("tapering", False),
        paused_from=_day_or_none(raw, "paused_from"),
    )


def _prescription(raw: Mapping[str, Any], key: str) -> Prescription:
    _only(raw, {"on", "until", "text", "prescriber"})
    return Prescription(
        key,
        _day(raw, "on"),
        _day(raw, "until"),
        _needed(raw, "text"),
        _needed(raw, "prescriber"),
    )


def _ending(raw: Mapping[str, Any] | None) -> Ending | None:
    if raw is None:
        return None
    _only(raw, {"kind", "on", "note", "receiving_clinic"})
    return Ending(
        _word(EndingKind, raw, "kind"),
        _day(raw, "on"),
        raw.get("note", ""),
        raw.get("receiving_clinic", ""),
    )


def _contact(raw: Mapping[str, Any], key: str) -> Contact:
    _only(raw, {field.name for field in fields(Contact)} - {"id"})
    return Contact(
        key,
        _needed(raw, "name"),
        text_consent=_word(Consent, raw, "text_consent", "unknown"),
        email_consent=_word(Consent, raw, "email_consent", "unknown"),
        **{name: raw[name] for name in ("relation", "phone", "email", "address") if name in raw},
    )


def _limits(raw: Mapping[str, Any] | None) -> Limits | None:
    if raw is None:
        return None
    _only(raw, {"weekdays", "not_before_minute", "farthest_km", "distances_km"})
    return Limits(
        "",
        tuple(sorted(WEEKDAYS.index(day) for day in raw.get("weekdays", []))),
        raw.get("not_before_minute"),
        raw.get("farthest_km"),
        tuple(sorted(raw.get("distances_km", {}).items())),
    )


def _sharing(raw: Mapping[str, Any] | None, key: str) -> Sharing | None:
    if raw is None:
        return None
    _only(raw, {"on", "school", "agreed_by"})
    topics = tuple(read_word(SchoolTopic, topic, "school") for topic in _needed(raw, "school"))
    return Sharing(key, _day(raw, "on"), topics, _needed(raw, "agreed_by"))


def _try(raw: Mapping[str, Any], key: str) -> ContactTry:
    _only(raw, {"on", "how", "outcome", "next_try", "note"})
    return ContactTry(
        key,
        _day(raw, "on"),
        _word(Way, raw, "how"),
        _word(TryOutcome, raw, "outcome"),
        _day_or_none(raw, "next_try"),
        raw.get("note", ""),
    )


def _word(vocabulary: Any, raw: Mapping[str, Any], key: str, default: str | None = None) -> Any:
    return read_word(
        vocabulary, _needed(raw, key) if default is None else raw.get(key, default), key
    )


def _items(raw: Mapping[str, Any], key: str) -> Sequence[Mapping[str, Any]]:
    day = "starts" if key == "occlusion" else "on"
    items: Sequence[Mapping[str, Any]] = sorted(raw.get(key, []), key=lambda i: _day(i, day))
    return items


def _needed(raw: Mapping[str, Any], key: str) -> Any:
    if key not in raw:
        raise RecordError(f"{key} is missing.", do="Correct the file.")
    return raw[key]


def _day(raw: Mapping[str, Any], key: str) -> date:
    day = _needed(raw, key)
    if type(day) is not date:
        raise RecordError(
            f"{key} is {day!r}, not a day.", do=f"Write {key} = 2026-11-23, without quotes."
        )
    return day


def _day_or_none(raw: Mapping[str, Any], key: str) -> date | None:
    return _day(raw, key) if key in raw else None


def _only(raw: Mapping[str, Any], known: set[str]) -> None:
    unknown = sorted(raw.keys() - known)
    if unknown:
        raise RecordError(
            f"{unknown[0]} is not one of {', '.join(sorted(known))}.", do="Correct the file."
        )
