"""The recall list as a page to print and write on: whom to ring, why, and what came of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from rehab.care.recall import Recall, contact_counts
from rehab.letters.overview import spelled_out
from rehab.letters.render import environment
from rehab.measures.age_text import age_in_words
from rehab.recall_files import numbers, tried
from rehab.settings import Clinic


@dataclass(frozen=True, slots=True)
class Row:
    """One family as the page shows it."""

    contact: str
    number: str
    name: str
    age: str
    language: str
    family: str
    numbers: tuple[tuple[str, str], ...]
    why: tuple[str, ...]
    come_by: str
    tried: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Page:
    """All that the template may know; `counts` say how many families are how urgent."""

    clinic: Clinic
    today: date
    rows: tuple[Row, ...]
    counts: tuple[tuple[str, int], ...]


def recall_page(lines: Sequence[Recall], clinic: Clinic, today: date) -> str:
    """An HTML page, for A4 across, in the order of the list."""
    rows = tuple(_row(line, today) for line in lines)
    page = Page(clinic, today, rows, contact_counts(lines))
    return environment().get_template("letters/recall.html").render(page=page)


def _row(line: Recall, today: date) -> Row:
    child = line.child
    return Row(
        contact=_short(line.contact),
        number=child.number,
        name=child.name,
        age=age_in_words(child.date_of_birth, today),
        language=child.language,
        family=child.family,
        numbers=numbers(line),
        why=tuple(_short(reason.sentence) for reason in line.reasons),
        come_by=_short(f"{line.come_by:%a} {line.come_by}") if line.come_by else "no date",
        tried=tuple(_short(said) for said in tried(line)),
    )


def _short(text: str) -> str:
    """`text` with its dates as 23 Nov 2026: the columns are narrow."""
    return spelled_out(text, letters=3)
