"""What a family agreed that a school or nursery may be told beyond patch and glasses."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from rehab.care.contact_checks import printable
from rehab.errors import RecordError


class SchoolTopic(StrEnum):
    """That the child had an operation for cataract; that one eye sees less well."""

    OPERATION = "operation"
    SIGHT = "sight"


@dataclass(frozen=True, slots=True)
class Sharing:
    """What was agreed on a day, by whom; no topic means that the family wants none told."""

    id: str
    on: date
    school: tuple[SchoolTopic, ...]
    agreed_by: str


def check_sharing(
    sharing: Sharing, before: Sharing | None, born: date, today: date, where: str
) -> None:
    """Raises RecordError for what nobody can have agreed to; `before` is what counts so far."""
    if not sharing.agreed_by.strip() or not printable(sharing.agreed_by):
        raise RecordError(
            f"{sharing.agreed_by!r} is no name that can be printed.",
            where=where,
            do="Give the name of the person of the family who agreed.",
        )
    if not born <= sharing.on <= today:
        raise RecordError(
            f"nobody can have agreed on {sharing.on}: the child's life so far is {born} to "
            f"{today}.",
            where=where,
            do="Check the date, or give --today.",
        )
    if before is not None and sharing.on < before.on:
        raise RecordError(
            f"what the family agreed on {sharing.on} is older than what it agreed on {before.on}.",
            where=where,
            do=f"The newer counts. If that was entered in error, withdraw {before.id} first.",
        )
