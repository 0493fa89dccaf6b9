"""Tables as CSV: written so that spreadsheets open them and run nothing, and small ones read."""

import csv
import io
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from rehab.errors import RecordError, RehabError

Item = TypeVar("Item")
# More than a hundred thousand lines; a person writes such tables, or shortens them.
LARGEST_MB = 50
ODD_LINES_TOLD = 20
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
# Some countries' spreadsheets split a line at semicolons or tabs instead of commas.
_START_INSIDE = re.compile(r"([;\t\r\n]\s*)(?=[=+\-@＝＋－＠])")
_MADE_INERT = re.compile(r"(^|[;\t\r\n]\s*)'(?=[=+\-@\t\r＝＋－＠])")


@dataclass(frozen=True, slots=True)
class SmallTable:
    """The headings of a file in lower case, and each line under its number; empty lines are not."""

    path: Path
    heads: tuple[str, ...]
    lines: tuple[tuple[int, tuple[str, ...]], ...]


def csv_bytes(rows: Iterable[Iterable[object]]) -> bytes:
    """UTF-8 with a byte-order mark and CRLF, as spreadsheets expect it; None is an empty cell."""
    text = io.StringIO(newline="")
    csv.writer(text).writerows(map(inert_row, rows))
    return text.getvalue().encode("utf-8-sig")


def inert_row(row: Iterable[object]) -> list[str]:
    return ["" if cell is None else inert(str(cell)) for cell in row]


def inert(text: str) -> str:
    """`text` so that no spreadsheet reads it as a formula; a phone number keeps its plus sign."""
    inside = _START_INSIDE.sub(r"\1'", text)
    return f"'{inside}" if text.startswith(FORMULA_STARTS) else inside


def as_meant(text: str) -> str:
    """`text` without the apostrophes that `inert` put before what looks like a formula."""
    return _MADE_INERT.sub(r"\1", text) if "'" in text else text


def read_small_table(path: Path) -> SmallTable:
    """The file split at the commas, semicolons or tabs of its first line; raises RecordError."""
    _refuse_no_small_file(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise RecordError(
            f"this file cannot be read ({error}).",
            where=str(path),
            do="Save it as a text file with commas (CSV, UTF-8).",
        ) from None
    delimiter = max(",;\t", key=text.partition("\n")[0].count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    heads: tuple[str, ...] = ()
    lines: list[tuple[int, tuple[str, ...]]] = []
    begun = 1
    try:
        heads = tuple(head.strip().lower() for head in next(reader, ()))
        begun = reader.line_num + 1
        for row in reader:
            if row:
                lines.append((begun, tuple(as_meant(cell).strip() for cell in row)))
            begun = reader.line_num + 1
    except csv.Error as error:
        raise RecordError(
            f"line {begun} cannot be split into columns ({error}).",
            where=str(path),
            do="Nothing was written. Correct this line, above all its quotation marks.",
        ) from None
    return SmallTable(path, heads, tuple(lines))


def _refuse_no_small_file(path: Path) -> None:
    """A pipe is waited for, and a device read, without an end."""
    if path.exists() and not path.is_file():
        raise RecordError(
            "this is no ordinary file.", where=str(path), do="Save the table as a file."
        )
    if path.exists() and path.stat().st_size > LARGEST_MB * 1_000_000:
        raise RecordError(
            f"this file is larger than {LARGEST_MB} MB.",
            where=str(path),
            do="Check that it is the right one.",
        )


def read_lines(
    table: SmallTable, how: Callable[[int, Mapping[str, str]], Item]
) -> tuple[Item, ...]:
    """What `how` makes of each line; raises RecordError with a sentence for each odd line."""
    items: list[Item] = []
    odd: list[str] = []
    for line, cells in table.lines:
        try:
            items.append(how(line, _named(table.heads, cells)))
        except RehabError as error:
            odd.append(f"line {line}: {error.what}")
    if odd:
        more = len(odd) - ODD_LINES_TOLD
        odd[ODD_LINES_TOLD:] = [f"And {more} more lines."] if more > 0 else []
        raise RecordError(
            " ".join(odd), where=str(table.path), do="Nothing was written. Correct these lines."
        )
    return tuple(items)


def _named(heads: Sequence[str], cells: Sequence[str]) -> dict[str, str]:
    if len(cells) != len(heads):
        raise RecordError("has more or fewer columns than the first line.")
    return dict(zip(heads, cells, strict=True))
