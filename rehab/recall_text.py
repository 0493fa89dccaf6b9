"""A family of the recall list as lines of text: who and until when, whom to ring, why, what was
tried."""

from collections.abc import Iterator
from datetime import date
from textwrap import wrap

from rehab.care.recall import WAITING, Recall
from rehab.measures.age_text import age_in_words
from rehab.recall_files import because_text, ring, tried

COLUMNS = 100
INDENT = "    "


def heading(line: Recall) -> str:
    """Under which the line stands."""
    return WAITING if line.waits_until else line.contact


def block(line: Recall, today: date) -> str:
    return "\n".join(_lines(line, today))


def _lines(line: Recall, today: date) -> Iterator[str]:
    child = line.child
    age = age_in_words(child.date_of_birth, today)
    until = f"come by {line.come_by}" if line.come_by else ""
    who = f"{child.number}  {child.name}, {age}"
    yield f"{who}{until:>{max(len(until) + 2, COLUMNS - len(who))}}".rstrip()
    family = f"; family {child.family}" if child.family else ""
    yield from _paragraph(f"ring {', '.join(ring(line))}; home language {child.language}{family}")
    for reason in line.reasons:
        yield from _paragraph(f"- {reason.sentence}")
    if line.last_tries:
        yield from _paragraph(f"tried {', '.join(tried(line))}")
    if line.because:
        yield from _paragraph(f"placed by {because_text(line.because)}")


def _paragraph(text: str) -> list[str]:
    return wrap(text, COLUMNS, initial_indent=INDENT, subsequent_indent=INDENT + "  ")
