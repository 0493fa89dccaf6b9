"""Letters that were made: for whom, from which plan, with which words, in which file."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from hashlib import sha256

from rehab.care.changes import derived_uid


class LetterFormat(StrEnum):
    PDF = "pdf"
    HTML = "html"


@dataclass(frozen=True, slots=True)
class LetterMade:
    """One letter as it was made; nothing of it is ever changed.

    `revision` is that of the child, and `plan_digest` that of the plan, from which it was made.
    `sha256` is that of the file, which may hold many letters; `words` are this letter's facts and
    words as JSON. `reviewed` says whether a qualified person had reviewed its translation.
    """

    uid: str
    child_number: str
    kind: str
    language: str
    made_on: date
    made_at: datetime
    made_by: str
    revision: int
    plan_digest: str
    file_name: str
    file_format: LetterFormat
    sha256: str
    words: bytes
    large_print: bool = False
    reviewed: bool = False


def identified(letter: LetterMade) -> LetterMade:
    """`letter` with the uid that follows from what was made, whoever made it into which file.

    The same letter made twice on one day is one letter.
    """
    parts = (
        letter.child_number,
        letter.kind,
        letter.language,
        letter.made_on.isoformat(),
        str(letter.revision),
        letter.plan_digest,
        letter.file_format,
        letter.sha256,
        sha256(letter.words).hexdigest(),
        f"{letter.large_print}, {letter.reviewed}",
    )
    return replace(letter, uid=derived_uid("letter", *parts))
