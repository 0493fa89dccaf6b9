"""Spreadsheet files that hold text as text, and are the same bytes for the same content."""

import io
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

Cell = str | int | date | None
WIDEST = 60


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
