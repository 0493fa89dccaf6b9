"""Spreadsheet files: written so that text stays text, the same bytes for the same content; and read
as text, whatever the file tries."""

import io
import re
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from rehab.errors import RecordError

Cell = str | int | date | None
WIDEST = 60
# The reader keeps the whole sheet, with a place for each cell between the first and the last.
MOST_MB, MOST_CELLS = 50, 3_000_000
AS_CSV = "In the spreadsheet, save the sheet as CSV (UTF-8) and import that file."
_PLACE = re.compile(rb"""\br\s*=\s*["']([A-Z]{1,4})([0-9]{1,9})["']""")
_CHUNK, _LONGEST_PLACE = 1 << 20, 64


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet as text: a date is year-month-day, a time 10:00:00, an empty cell "".

    `rows` begins anew with each call; the rows are numbered from 1.
    """

    name: str
    height: int
    rows: Callable[[], Iterator[tuple[int, tuple[str, ...]]]]


def write_sheet(
    heads: Sequence[str], rows: Iterable[Sequence[Cell]], *, name: str, made_on: date
) -> bytes:
    """An XLSX workbook with one sheet; what looks like a formula or a link is plain text."""
    # Imported here: every other command is quicker without it.
    import xlsxwriter

    file = io.BytesIO()
    book = xlsxwriter.Workbook(
        file, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    )
    book.set_properties({"created": datetime(made_on.year, made_on.month, made_on.day)})
    sheet = book.add_worksheet(name[:31])
    plain, day, bold = (
        book.add_format({"text_wrap": True, "valign": "top", **more})
        for more in ({}, {"num_format": "yyyy-mm-dd", "align": "left"}, {"bold": True})
    )
    widths = [len(head) for head in heads]
    sheet.write_row(0, 0, heads, bold)
    for line, row in enumerate(rows, 1):
        for column, cell in enumerate(row):
            _write(sheet, line, column, cell, day if isinstance(cell, date) else plain)
            widths[column] = max(widths[column], len(str(cell or "")))
    for column, width in enumerate(widths):
        sheet.set_column(column, column, min(width + 2, WIDEST))
    sheet.freeze_panes(1, 0)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    book.close()
    return file.getvalue()


def _write(sheet: Any, line: int, column: int, cell: Cell, form: Any) -> None:
    if isinstance(cell, date):
        sheet.write_datetime(line, column, datetime(cell.year, cell.month, cell.day), form)
    elif isinstance(cell, int):
        sheet.write_number(line, column, cell, form)
    else:
        sheet.write_string(line, column, cell or "", form)


def read_sheet(path: Path, name: str = "") -> Sheet:
    """The sheet `name` of the XLSX workbook at `path`, or the only one that holds anything.

    Raises RecordError for a file that is damaged, protected or would fill the memory.
    """
    _refuse_too_large(path)
    from python_calamine import CalamineError, load_workbook

    try:
        book = load_workbook(str(path))
        filled = {
            sheet: found
            for sheet in book.sheet_names
            if sheet == name or not name
            if (found := book.get_sheet_by_name(sheet)).height
        }
    except (CalamineError, ValueError, OSError) as error:
        raise RecordError(
            f"this workbook cannot be read ({error}).", where=str(path), do=AS_CSV
        ) from None
    if len(filled) != 1:
        listed = ", ".join(filled if not name else book.sheet_names)
        what = f"no filled sheet {name!r}" if name else f"{len(filled)} filled sheets"
        raise RecordError(
            f"this workbook has {what} ({listed}).", where=str(path), do="Name one with --sheet."
        )
    ((found_name, sheet),) = filled.items()

    def rows() -> Iterator[tuple[int, tuple[str, ...]]]:
        return ((n, tuple(map(_text, row))) for n, row in enumerate(sheet.iter_rows(), 1))

    return Sheet(found_name, sheet.total_height + 1, rows)


def _refuse_too_large(path: Path) -> None:
    """Unpacks the file piece by piece, since what it says of its own size may be a lie."""
    size, rows, columns = 0, 0, 0
    try:
        with zipfile.ZipFile(path) as packed:
            for member in packed.infolist():
                kept = b""
                with packed.open(member) as part:
                    while chunk := part.read(_CHUNK):
                        size += len(chunk)
                        if size > MOST_MB << 20:
                            break
                        for column, row in _PLACE.findall(kept + chunk):
                            rows, columns = max(rows, int(row)), max(columns, _number(column))
                        kept = chunk[-_LONGEST_PLACE:]
    except (zipfile.BadZipFile, zipfile.LargeZipFile, OSError, RuntimeError, EOFError) as error:
        raise RecordError(
            f"this is no whole XLSX workbook, or it is protected ({error}).",
            where=str(path),
            do=AS_CSV,
        ) from None
    except (NotImplementedError, ValueError) as error:
        raise RecordError(
            f"this workbook is packed in an unknown way ({error}).", where=str(path), do=AS_CSV
        ) from None
    if size > MOST_MB << 20:
        raise RecordError(
            f"this workbook is more than {MOST_MB} MB when unpacked.", where=str(path), do=AS_CSV
        )
    if rows * columns > MOST_CELLS:
        raise RecordError(
            f"this workbook has a cell in row {rows} and one in column {columns}: that is room "
            f"for more than {MOST_CELLS:,} cells.",
            where=str(path),
            do=f"Delete what lies far from the table. Or: {AS_CSV}",
        )


def _number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - ord("A") + 1
    return number


def _text(cell: object) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return format(cell, ".15g")
    if isinstance(cell, datetime):
        return (cell.date() if cell.time() == time.min else cell).isoformat()
    return str(cell)
