"""Versions of facts: the kinds there are, their keys, and who recorded each version, when, why."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Table

from rehab.care.case import (
    Appointment,
    Child,
    Ending,
    Examination,
    Prescription,
    Regimen,
    Surgery,
)
from rehab.care.contacts import Contact, ContactTry, Limits
from rehab.care.diary import Closure, Holiday, SessionPattern, Site
from rehab.care.proposals import KeptProposal
from rehab.care.sharing import Sharing
from rehab.care.translations import TranslationReview
from rehab.care.wear import WearDay
from rehab.errors import RecordError
from rehab.store import desk_rows, rows, schema

DiaryRecord = Site | SessionPattern | Closure | Holiday
Record = (
    Child
    | Surgery
    | Examination
    | Regimen
    | Prescription
    | Appointment
    | Ending
    | Contact
    | Limits
    | ContactTry
    | Sharing
    | KeptProposal
    | WearDay
)
ClinicRecord = DiaryRecord | TranslationReview
AnyRecord = Record | ClinicRecord
# The owners of what belongs to no child; no child's number begins so.
DIARY, WORDS = "@diary", "@words"


@dataclass(frozen=True, slots=True)
class Stamp:
    """Who writes, when and why. A time without its zone would mean another hour elsewhere."""

    by: str
    at: datetime
    reason: str = ""

    def __post_init__(self) -> None:
        if not self.by.strip():
            raise RecordError(
                "nobody is named as the one who writes this.", do="Say who you are, then repeat."
            )
        if self.at.tzinfo is None:
            raise RecordError(
                f"the time of writing {self.at} does not name its zone.", do="Give it in UTC."
            )


@dataclass(frozen=True, slots=True)
class Version:
    """One version of a fact. Withdrawn means: entered in error, kept only to be seen."""

    key: str
    version: int
    record: AnyRecord
    stamp: Stamp
    withdrawn: bool


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of fact: its table, the letter of its keys, its rows.

    `alike` names the columns in which no two current facts of a child may agree; with no column
    there is one such fact at most, with None any number.
    """

    word: str
    letter: str
    table: Table
    to_row: Callable[[Any], rows.Row]
    from_row: Callable[[rows.Stored], AnyRecord]
    alike: tuple[str, ...] | None = ()


KINDS: dict[type[Record], Kind] = {
    Child: Kind("child", "", schema.child, rows.child_to_row, rows.child_from_row),
    Surgery: Kind(
        "surgery", "S", schema.surgery, rows.surgery_to_row, rows.surgery_from_row, ("eye", "on")
    ),
    Examination: Kind(
        "examination",
        "X",
        schema.examination,
        rows.examination_to_row,
        rows.examination_from_row,
        ("on",),
    ),
    Regimen: Kind(
        "regimen",
        "R",
        schema.regimen,
        rows.regimen_to_row,
        rows.regimen_from_row,
        ("occluded_eye", "starts"),
    ),
    Prescription: Kind(
        "prescription",
        "D",
        schema.prescription,
        desk_rows.to_row,
        lambda row: desk_rows.from_row(Prescription, row),
        ("on", "text"),
    ),
    Appointment: Kind(
        "appointment",
        "A",
        schema.appointment,
        desk_rows.to_row,
        desk_rows.appointment_from_row,
        ("on", "outcome"),
    ),
    Ending: Kind("ending", "E", schema.ending, rows.ending_to_row, rows.ending_from_row),
    KeptProposal: Kind(
        "proposal",
        "P",
        schema.occlusion_proposal,
        rows.proposal_to_row,
        rows.proposal_from_row,
        None,
    ),
    Contact: Kind(
        "contact",
        "C",
        schema.contact,
        desk_rows.to_row,
        lambda row: desk_rows.from_row(Contact, row),
        ("name", "relation", "phone", "email"),
    ),
    Limits: Kind(
        "statement of limits",
        "L",
        schema.limits,
        desk_rows.limits_to_row,
        desk_rows.limits_from_row,
    ),
    ContactTry: Kind(
        "try",
        "T",
        schema.contact_try,
        desk_rows.to_row,
        lambda row: desk_rows.from_row(ContactTry, row),
        None,
    ),
    Sharing: Kind(
        "statement of what a school may be told",
        "G",
        schema.sharing,
        desk_rows.sharing_to_row,
        desk_rows.sharing_from_row,
    ),
    WearDay: Kind(
        "day of wear", "W", schema.wear_day, rows.wear_to_row, rows.wear_from_row, ("on",)
    ),
}
OF_A_CASE = (
    Child,
    Surgery,
    Examination,
    Regimen,
    Prescription,
    Appointment,
    Ending,
    Contact,
    Limits,
    ContactTry,
    Sharing,
)
DIARY_KINDS: dict[type[DiaryRecord], Kind] = {
    Site: Kind(
        "site",
        "@site",
        schema.site,
        desk_rows.to_row,
        lambda row: desk_rows.from_row(Site, row),
    ),
    SessionPattern: Kind(
        "session pattern",
        "@session",
        schema.session_pattern,
        desk_rows.pattern_to_row,
        desk_rows.pattern_from_row,
    ),
    Closure: Kind(
        "closure",
        "@closure",
        schema.closure,
        desk_rows.to_row,
        lambda row: desk_rows.from_row(Closure, row),
    ),
    Holiday: Kind(
        "holiday",
        "@holiday",
        schema.holiday,
        desk_rows.to_row,
        lambda row: desk_rows.from_row(Holiday, row),
    ),
}
REVIEWS = Kind(
    "review of a translation",
    "@translation",
    schema.translation_review,
    desk_rows.to_row,
    lambda row: desk_rows.from_row(TranslationReview, row),
)


def kind_of(record: AnyRecord) -> Kind:
    if isinstance(record, TranslationReview):
        return REVIEWS
    if isinstance(record, DiaryRecord):
        return DIARY_KINDS[type(record)]
    return KINDS[type(record)]


def kind_of_key(key: str) -> Kind:
    """The kind of fact that a key such as M-014/S1 stands for."""
    before, _, after = key.partition("/")
    letter = before if before.startswith("@") else after[:1]
    for kind in (*KINDS.values(), *DIARY_KINDS.values(), REVIEWS):
        if kind.letter == letter:
            return kind
    raise not_recorded(key)


def owner(key: str) -> str:
    """The number of the child whose fact has this key, or the diary or the words of letters."""
    before = key.partition("/")[0]
    if before == REVIEWS.letter:
        return WORDS
    return DIARY if before.startswith("@") else before


def diary_key(record: DiaryRecord) -> str:
    """What is said of the same site, pattern, closure or holiday later supersedes."""
    kind = DIARY_KINDS[type(record)]
    if isinstance(record, Holiday):
        place = "-".join(filter(None, (record.country, record.region)))
        return f"{kind.letter}/{place}/{record.on}"
    return f"{kind.letter}/{record.code}"


def wear_key(number: str, day: WearDay) -> str:
    """The day is the fact, so that whatever is told of it later supersedes."""
    return f"{number}/W{day.on:%Y%m%d}"


def not_recorded(key: str) -> RecordError:
    return RecordError(f"nothing is recorded as {key}.", do="Check the number.")


def stamp_to_row(stamp: Stamp) -> rows.Row:
    at = stamp.at.astimezone(UTC).isoformat(timespec="microseconds")
    return {"recorded_at": at, "recorded_by": stamp.by, "reason": stamp.reason}


def stamp_from_row(row: rows.Stored) -> Stamp:
    at = datetime.fromisoformat(row["recorded_at"])
    return Stamp(row["recorded_by"], at, row["reason"])


def who_when_why(version: Version) -> str:
    stamp = version.stamp
    return f"{stamp.by} on {stamp.at:%Y-%m-%d}" + (f" ({stamp.reason})" if stamp.reason else "")
