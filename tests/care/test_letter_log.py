"""A letter's uid follows from what was made, and from nothing else."""

from dataclasses import fields, replace
from datetime import UTC, date, datetime
from typing import Any

from rehab.care.letter_log import LetterFormat, LetterMade, identified

MADE = LetterMade(
    uid="",
    child_number="K-017",
    kind="family",
    language="sw",
    made_on=date(2026, 4, 20),
    made_at=datetime(2026, 4, 20, 9, tzinfo=UTC),
    made_by="M. Okoro",
    revision=4,
    plan_digest="ab" * 32,
    file_name="K-017.pdf",
    file_format=LetterFormat.PDF,
    sha256="cd" * 32,
    words=b"{}",
)
OTHER: dict[str, Any] = {
    "child_number": "K-018",
    "kind": "school",
    "language": "en",
    "made_on": date(2026, 4, 21),
    "revision": 5,
    "plan_digest": "ac" * 32,
    "file_format": LetterFormat.HTML,
    "sha256": "ce" * 32,
    "words": b'{"eye": "left"}',
    "large_print": True,
    "reviewed": True,
}
THE_SAME: dict[str, Any] = {
    "uid": "another",
    "made_at": datetime(2026, 4, 20, 17, tzinfo=UTC),
    "made_by": "S. Lindqvist",
    "file_name": "again.pdf",
}


def test_each_part_of_what_was_made_makes_another_letter() -> None:
    uids = {identified(replace(MADE, **{name: value})).uid for name, value in OTHER.items()}
    assert len(uids | {identified(MADE).uid}) == len(OTHER) + 1


def test_who_made_it_when_on_that_day_and_into_which_file_does_not() -> None:
    assert OTHER.keys() | THE_SAME.keys() == {field.name for field in fields(LetterMade)}
    for name, value in THE_SAME.items():
        assert identified(replace(MADE, **{name: value})).uid == identified(MADE).uid, name


def test_a_uid_holds_nothing_that_could_be_read() -> None:
    name, at, program = identified(MADE).uid.partition("@")
    assert (len(name), at, program) == (32, "@", "rehab")
    assert set(name) <= set("0123456789abcdef")
