"""What the coordinator's desk and letters need, to rows and back, mostly column by column."""

from dataclasses import Field, fields
from typing import Any, ClassVar, Protocol, TypeVar

from rehab.care.case import Appointment, CheckKind
from rehab.care.contacts import Limits
from rehab.care.diary import SessionPattern
from rehab.care.sharing import SchoolTopic, Sharing
from rehab.store.rows import Row, Stored


class Dataclass(Protocol):
    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]


Recorded = TypeVar("Recorded", bound=Dataclass)


def to_row(record: Dataclass) -> Row:
    """A row of a record whose fields are columns of the same names."""
    return {f.name: getattr(record, f.name) for f in fields(record) if f.name != "id"}


def from_row(of_kind: type[Recorded], row: Stored) -> Recorded:
    """The record of such a row; its id is the key."""
    names = {f.name for f in fields(of_kind)}
    identity = {"id": row["key"]} if "id" in names else {}
    return of_kind(**identity, **{name: row[name] for name in names - {"id"}})


def appointment_from_row(row: Stored) -> Appointment:
    return from_row(Appointment, row)


def limits_to_row(limits: Limits) -> Row:
    return {
        **to_row(limits),
        "weekdays": list(limits.weekdays),
        "distances_km": [list(distance) for distance in limits.distances_km],
    }


def limits_from_row(row: Stored) -> Limits:
    distances = tuple((site, km) for site, km in row["distances_km"])
    return from_row(Limits, {**row, "weekdays": tuple(row["weekdays"]), "distances_km": distances})


def sharing_to_row(sharing: Sharing) -> Row:
    return {**to_row(sharing), "school": [topic.value for topic in sharing.school]}


def sharing_from_row(row: Stored) -> Sharing:
    topics = tuple(SchoolTopic(topic) for topic in row["school"])
    return from_row(Sharing, {**row, "school": topics})


def pattern_to_row(pattern: SessionPattern) -> Row:
    return {**to_row(pattern), "kinds": [kind.value for kind in pattern.kinds]}


def pattern_from_row(row: Stored) -> SessionPattern:
    return from_row(
        SessionPattern, {**row, "kinds": tuple(CheckKind(kind) for kind in row["kinds"])}
    )
