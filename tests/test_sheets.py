"""Workbooks as an independent reader sees them: text stays text, same content, same bytes."""

import io
from datetime import date

from python_calamine import CalamineWorkbook

from rehab.sheets import write_sheet

ROWS = (("=1+1", 3), ("https://example.org", date(2026, 1, 2)), ("+00 555 0117", None))


def test_what_looks_like_a_formula_or_a_link_is_read_back_as_text() -> None:
    made = write_sheet(("what", "when"), ROWS, name="List", made_on=date(2026, 3, 2))
    sheet = CalamineWorkbook.from_filelike(io.BytesIO(made)).get_sheet_by_name("List")
    heads, *rows = sheet.to_python()
    assert heads == ["what", "when"]
    assert rows == [["=1+1", 3.0], ["https://example.org", date(2026, 1, 2)], ["+00 555 0117", ""]]


def test_the_same_content_gives_the_same_bytes() -> None:
    once, again = (
        write_sheet(("what", "when"), ROWS, name="List", made_on=date(2026, 3, 2)) for _ in "12"
    )
    assert once == again
