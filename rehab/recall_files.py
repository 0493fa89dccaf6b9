"""The recall list as a spreadsheet file that opens anywhere and runs nothing."""

import csv
import io
from collections.abc import Iterable

from rehab.care.recall import Recall

HEADS = ("urgency", "number", "name", "born", "language", "phone", "come_by", "days_overdue", "why")
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def recall_csv(lines: Iterable[Recall]) -> bytes:
    """UTF-8 with a byte-order mark and CRLF, as spreadsheets expect it."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(HEADS)
    for line in lines:
        child = line.child
        cells = (
            line.urgency,
            child.number,
            child.name,
            child.date_of_birth,
            child.language,
            child.phone,
            line.come_by or "",
            line.days_overdue,
            "; ".join(line.reasons),
        )
        writer.writerow([inert(str(cell)) for cell in cells])
    return text.getvalue().encode("utf-8-sig")


def inert(text: str) -> str:
    """`text` so that no spreadsheet reads it as a formula; a phone number keeps its plus sign."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text
