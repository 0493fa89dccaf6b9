"""What a line adds to a child who is recorded, and where it contradicts what is recorded."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date
from typing import TypeVar

from rehab.care.case import Appointment, Case, Child, Surgery
from rehab.care.contacts import Contact, Limits
from rehab.care.history import check_examination
from rehab.errors import RecordError, RehabError
from rehab.import_lines import Told, check_new_surgery
from rehab.measures.dates import WEEKDAYS

Fact = Child | Surgery | Contact | Limits | Appointment
Merged = TypeVar("Merged", Child, Surgery, Contact, Limits)
NOTHING_KNOWN = (None, "", "unknown", ())


@dataclass(frozen=True, slots=True)
class Change:
    """A fact to be recorded; `key` is that of the record it completes, "" for a new one."""

    key: str
    fact: Fact
    what: str


@dataclass(frozen=True, slots=True)
class Comparison:
    changes: tuple[Change, ...]
    differences: tuple[str, ...]


def compare(recorded: Case, told: Told, today: date) -> Comparison:
    """What is not known is completed; what is known otherwise is a difference, for a person."""
    assert told.case is not None
    changes: list[Change] = []
    differences: list[str] = []
    case = told.case
    child = case.child if "language" in told.given else _silent_on_language(case, recorded)
    pairs: list[tuple[str, str, Fact, Fact]] = [
        (recorded.child.number, "", recorded.child, child),
    ]
    for surgery in case.surgeries:
        same = [s for s in recorded.surgeries if (s.eye, s.on) == (surgery.eye, surgery.on)]
        about = f"surgery of the {surgery.eye} eye on {surgery.on}"
        pairs += [(s.id, f"{about}: ", s, surgery) for s in same]
        if not same:
            changes.append(Change("", surgery, about))
    for contact in case.contacts:
        known = [c for c in recorded.contacts if c.name.casefold() == contact.name.casefold()]
        about = f"contact {contact.name}"
        pairs += [(c.id, f"{about}: ", c, replace(contact, name=c.name)) for c in known[:1]]
        if not known:
            changes.append(Change("", contact, about))
    if case.limits != Limits():
        if recorded.limits == Limits():
            changes.append(Change("", case.limits, "what the family has stated"))
        else:
            pairs.append((recorded.limits.id, "", recorded.limits, case.limits))
    for key, about, before, after in pairs:
        merged, filled, differ = _merged(before, after)  # type: ignore[type-var]
        differences += [f"{about}{difference}" for difference in differ]
        if filled:
            changes.append(Change(key, merged, f"{about}{', '.join(filled)}"))
    for appointment in case.appointments:
        if all(a.on != appointment.on for a in recorded.appointments):
            changes.append(Change("", appointment, f"appointment on {appointment.on}"))
    differences += _contradictions(recorded, changes, today)
    return Comparison(tuple(changes), tuple(differences))


def check_to_come(case: Case, today: date) -> None:
    """Raises RecordError for an appointment that has been: its outcome would not be known."""
    for appointment in case.appointments:
        if appointment.on < today:
            raise RecordError(
                f"appointment_on: {appointment.on} is past, and what became of it is not told.",
                do="Leave it empty, or give an appointment to come.",
            )


def _silent_on_language(case: Case, recorded: Case) -> Child:
    return replace(case.child, language=recorded.child.language)


def _merged(before: Merged, after: Merged) -> tuple[Merged, list[str], list[str]]:
    """`before` completed by `after`; the names of what was completed, and what differs."""
    filled: dict[str, object] = {}
    differ = []
    for name in (field.name for field in fields(before) if field.name != "id"):
        was, told = getattr(before, name), getattr(after, name)
        if told in NOTHING_KNOWN or _same(name, was, told):
            continue
        if was in NOTHING_KNOWN:
            filled[name] = told
        else:
            differ.append(
                f"differs: {_column(name)} {_said(name, was)} is recorded, "
                f"{_said(name, told)} in the file."
            )
    return replace(before, **filled), [_column(name) for name in filled], differ  # type: ignore[arg-type]


def _same(name: str, was: object, told: object) -> bool:
    if name == "phone":
        return _digits(str(was)) == _digits(str(told))
    if name in ("language", "email"):
        return str(was).casefold() == str(told).casefold()
    return was == told


def _digits(phone: str) -> str:
    return "".join(c for c in phone if c.isdigit())


def _column(name: str) -> str:
    return {"date_of_birth": "born", "not_before_minute": "not_before"}.get(name, name)


def _said(name: str, value: object) -> str:
    if isinstance(value, int) and name == "not_before_minute":
        return f"{value // 60:02}:{value % 60:02}"
    if isinstance(value, tuple):
        return ", ".join(WEEKDAYS[day] for day in value)
    return str(value)


def _contradictions(recorded: Case, changes: Sequence[Change], today: date) -> Iterator[str]:
    """What is recorded, in the order of time, with each new surgery and appointment."""
    case = recorded
    new = [change.fact for change in changes if not change.key]
    surgeries = sorted((f for f in new if isinstance(f, Surgery)), key=lambda s: s.on)
    appointments = tuple(f for f in new if isinstance(f, Appointment))
    try:
        for surgery in surgeries:
            check_new_surgery(case, surgery, today)
            in_order = sorted((*case.surgeries, surgery), key=lambda s: s.on)
            case = replace(case, surgeries=tuple(in_order))
        if surgeries:
            for examination in case.examinations:
                check_examination(case, examination, today)
        check_to_come(replace(recorded, appointments=appointments), today)
    except RehabError as error:
        yield f"{error.what}{' ' * bool(error.do)}{error.do}"
