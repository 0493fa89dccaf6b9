"""The recall list as spreadsheet files that open anywhere and run nothing."""

from collections.abc import Iterable, Iterator
from datetime import date

from rehab.care.contacts import Contact
from rehab.care.recall import Recall
from rehab.csv_files import csv_bytes
from rehab.measures.age_text import age_in_words
from rehab.rules.protocol import Because
from rehab.sheets import Cell, write_sheet

HEADS = (
    "contact", "number", "name", "born", "age", "language", "ring", "why", "come_by",
    "days_overdue", "times_not_brought", "last_tries", "because", "spoke_to", "new_date",
    "next_try",
)  # fmt: skip
_TO_WRITE_IN = ("", "", "")


def recall_csv(lines: Iterable[Recall], today: date) -> bytes:
    return csv_bytes((HEADS, *_rows(lines, today)))


def recall_sheet(lines: Iterable[Recall], today: date) -> bytes:
    """A workbook with the same columns."""
    return write_sheet(HEADS, _rows(lines, today), name="Recall list", made_on=today)


def numbers(line: Recall) -> tuple[tuple[str, str], ...]:
    """Whom to ring and the number, each number once; the child's own number names nobody."""
    found: dict[str, str] = {}
    for contact in line.contacts:
        if contact.phone:
            found.setdefault(contact.phone, _named(contact))
    if line.child.phone:
        found.setdefault(line.child.phone, "")
    return tuple((who, number) for number, who in found.items())


def ring(line: Recall) -> tuple[str, ...]:
    """Whom to ring, each in a line."""
    found = tuple(f"{who} {number}".strip() for who, number in numbers(line))
    return found or ("no number recorded",)


def tried(line: Recall) -> tuple[str, ...]:
    """The last tries to reach the family, newest first."""
    return tuple(f"{t.on} {t.way}: {t.outcome}" for t in reversed(line.last_tries))


def because_text(because: Because | None) -> str:
    """By which row the family stands where it stands, and on what facts."""
    if because is None:
        return ""
    facts = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in because.facts)
    return f"{because.decision}/{because.row}: {facts}"


def _named(contact: Contact) -> str:
    return f"{contact.name} ({contact.relation})" if contact.relation else contact.name


def _rows(lines: Iterable[Recall], today: date) -> Iterator[tuple[Cell, ...]]:
    for line in lines:
        child = line.child
        yield (
            line.contact,
            child.number,
            child.name,
            child.date_of_birth,
            age_in_words(child.date_of_birth, today),
            child.language,
            " / ".join(ring(line)),
            " / ".join(reason.sentence for reason in line.reasons),
            line.come_by,
            line.days_overdue,
            line.times_not_brought,
            " / ".join(tried(line)),
            because_text(line.because),
            *_TO_WRITE_IN,
        )
