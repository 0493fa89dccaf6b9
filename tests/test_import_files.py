"""A gallery of files that are no table of children, each with the words that say why and where."""

import csv
import io
import os
import re
import zipfile
from datetime import date, datetime, time
from pathlib import Path

import pytest
import xlsxwriter

from rehab.errors import RecordError
from rehab.import_files import LONGEST_LINE, Row, open_table
from rehab.import_mapping import Explained
from rehab.sheets import MOST_MB

HEADS = b"number,name,born"
LINE = b"K-1,Badu Oro,2026-01-05"
CELLS = {"number": "K-1", "name": "Badu Oro", "born": "2026-01-05"}


def rows(path: Path, **told: str) -> list[Row]:
    return list(open_table(path, Explained(**told)).rows())  # type: ignore[arg-type]


def file(tmp_path: Path, content: bytes) -> Path:
    path = tmp_path / "children.csv"
    path.write_bytes(content)
    return path


def text(*lines: bytes) -> bytes:
    return b"\r\n".join(lines) + b"\r\n"


REFUSED = [
    (b"", "this file is empty"),
    (b"\r\n\r\n", "this file is empty"),
    (text(LINE), 'no column is known for "K-1", "Badu Oro", "2026-01-05"; there is no heading for'),
    (text(b"number,name"), "line 1 should hold the headings, but there is no heading for born."),
    (text(b"number,name,born,Ward", LINE), 'no column is known for "Ward"'),
    (text(b"number,name,born,Born"), "more than one heading stands for born"),
    (text(HEADS, b'K-1,"Badu,2026-01-05', LINE), "line 2 cannot be split into columns"),
    (text(HEADS, b'K-1,"Badu" Oro,2026-01-05'), "line 2 cannot be split into columns"),
    (text(HEADS, LINE, b"K-2,Zo\xeb,2026-01-05"),
     'line 3: the byte 0xeb after "K-2,Zo" is no letter in utf-8. Save it as CSV (UTF-8), or name '
     "its encoding, such as --encoding cp1252"),
    (text(HEADS, b"K-1,Ba\0du,2026-01-05"), "line 2 holds a zero byte"),
    (text(HEADS, LINE).decode().encode("utf-16-le"), "line 1 holds a zero byte"),
    (b"\xff\xfe" + text(HEADS, LINE).decode().encode("utf-16-le") + b"\x00", "no text in utf-16"),
    (HEADS + b"\r" + LINE + b"\r", "line 1 cannot be split into columns"),
    (b"x" * (LONGEST_LINE + 1), "line 1 is longer than 1,000,000 letters"),
    (text(HEADS, b'K-1,"' + b"x" * 140_000 + b'",2026-01-05'), "line 2 cannot be split"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "this is an old or a protected workbook"),
    (b"PK\x03\x04 and nothing more", "this is no whole XLSX workbook"),
]  # fmt: skip


@pytest.mark.parametrize(("content", "words"), REFUSED)
def test_a_file_that_is_no_table_is_refused_with_what_and_where(
    tmp_path: Path, content: bytes, words: str
) -> None:
    with pytest.raises(RecordError, match=re.escape(words)) as refusal:
        rows(file(tmp_path, content))
    assert refusal.value.where == str(tmp_path / "children.csv")
    assert refusal.value.do


READ = [
    (text(HEADS, LINE), {}),
    (text(HEADS, LINE).removesuffix(b"\r\n"), {}),
    (text(HEADS, LINE).replace(b"\r\n", b"\n"), {}),
    (b"\xef\xbb\xbf" + text(HEADS, LINE), {}),
    (text(HEADS, LINE).decode().encode("utf-16"), {}),
    (text(HEADS, LINE).decode().encode("utf-16-be"), {"encoding": "utf-16-be"}),
    (text(HEADS, LINE).replace(b",", b";"), {}),
    (text(HEADS, LINE).replace(b",", b"\t"), {}),
    (text(HEADS, LINE).replace(b",", b"|"), {"delimiter": "|"}),
    (text(b"Number, NAME ,Born", b'"K-1", Badu Oro ,2026-01-05'.replace(b", B", b",B")), {}),
    (text(b"", HEADS, b",,", b"", LINE), {}),
    (text(HEADS + b",,", LINE + b",,"), {}),
]


@pytest.mark.parametrize(("content", "told"), READ)
def test_the_same_table_is_read_from_many_ways_of_saving_it(
    tmp_path: Path, content: bytes, told: dict[str, str]
) -> None:
    assert [row.cells for row in rows(file(tmp_path, content), **told) if row.cells] == [CELLS]


def test_a_pipe_is_refused_since_the_file_is_read_twice(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(RecordError, match="this is no ordinary file"):
        open_table(tmp_path / "pipe", Explained())


def test_letters_and_spaces_are_written_in_one_way(tmp_path: Path) -> None:
    (row,) = rows(file(tmp_path, text(HEADS, "K-1,Zoe\u0308\xa0Oro,2026-01-05".encode())))
    assert row.cells["name"] == "Zoë Oro"


def test_other_separators_than_commas_are_told(tmp_path: Path) -> None:
    path = file(tmp_path, text(HEADS, LINE).replace(b",", b"\t"))
    assert open_table(path, Explained()).notes == ("The columns are separated by tabs.",)


WRONG_ROWS = [
    (b"K-1,Badu Oro", "has 2 cells where the headings have 3."),
    (b"K-1,Oro, Badu,2026-01-05", "has 4 cells where the headings have 3."),
    (b"K-1;Badu Oro;2026-01-05", "has 1 cells where the headings have 3."),
]


@pytest.mark.parametrize(("line", "problem"), WRONG_ROWS)
def test_a_ragged_line_is_told_and_the_next_is_read(
    tmp_path: Path, line: bytes, problem: str
) -> None:
    ragged, good = rows(file(tmp_path, text(HEADS, line, LINE)))
    assert (ragged.line, ragged.problem, ragged.cells) == (2, problem, {})
    assert (good.line, good.cells) == (3, CELLS)


def test_a_cell_under_no_heading_is_told(tmp_path: Path) -> None:
    (row,) = rows(file(tmp_path, text(HEADS + b",", LINE + b",x")))
    assert row.problem == 'holds "x" under no heading.'


def test_a_line_is_counted_from_its_beginning_also_after_cells_of_several_lines(
    tmp_path: Path,
) -> None:
    content = text(HEADS + b",contact_address", LINE + b',"1 Lane\r\nTown"', LINE + b",")
    path = file(tmp_path, content)
    first, second = rows(path)
    assert (first.line, second.line) == (2, 4)
    assert first.cells["contact_address"] == "1 Lane\nTown"
    heads = len(HEADS + b",contact_address\r\n")
    assert first.size + second.size == open_table(path, Explained()).size - heads


def test_the_apostrophes_of_our_own_lists_are_taken_off(tmp_path: Path) -> None:
    heads, line = HEADS + b",phone", b"'-1,'Asel,2026-01-05,'+00 555 0117"
    (row,) = rows(file(tmp_path, text(heads, line)))
    assert (row.cells["number"], row.cells["name"]) == ("-1", "'Asel")
    assert row.cells["phone"] == "+00 555 0117"


@pytest.mark.parametrize("code", ["rot13", "zip", "klingon", "utf-8\0"])
def test_an_encoding_that_is_none_is_refused(tmp_path: Path, code: str) -> None:
    with pytest.raises(RecordError, match="is no encoding of text"):
        rows(file(tmp_path, text(HEADS, LINE)), encoding=code)


def workbook(path: Path, sheets: dict[str, list[list[object]]], **how: object) -> Path:
    with xlsxwriter.Workbook(path, how) as book:
        day = book.add_format({"num_format": "dd/mm/yyyy"})
        hour = book.add_format({"num_format": "hh:mm"})
        for name, lines in sheets.items():
            sheet = book.add_worksheet(name)
            for n, line in enumerate(lines):
                for column, cell in enumerate(line):
                    form = hour if isinstance(cell, time) else day
                    dated = isinstance(cell, date | time)
                    (sheet.write_datetime if dated else sheet.write)(
                        n, column, cell, *([form] if dated else [])
                    )
    return path


SHEET_HEADS: list[object] = ["number", "name", "born", "not_before", "gestation_weeks"]


@pytest.mark.parametrize("since_1904", [False, True])
def test_true_dates_of_a_workbook_are_read_in_either_of_its_calendars(
    tmp_path: Path, since_1904: bool
) -> None:
    line: list[object] = [17, "=Badu", datetime(2026, 1, 5), time(9, 30), 38]
    path = workbook(
        tmp_path / "t.xlsx",
        {"Children": [[], SHEET_HEADS, line], "Notes": []},
        date_1904=since_1904,
        strings_to_formulas=False,
    )
    (row,) = rows(path)
    assert (row.line, row.size) == (3, 1)
    assert row.cells == {
        "number": "17",
        "name": "=Badu",
        "born": "2026-01-05",
        "not_before": "09:30:00",
        "gestation_weeks": "38",
    }


def test_of_several_filled_sheets_one_must_be_named(tmp_path: Path) -> None:
    path = workbook(tmp_path / "t.xlsx", {"Old": [["x"]], "New": [SHEET_HEADS]})
    with pytest.raises(RecordError, match=r"has 2 filled sheets \(Old, New\)\. Name one"):
        rows(path)
    with pytest.raises(RecordError, match=r"no filled sheet 'Next' \(Old, New\)"):
        rows(path, sheet="Next")
    assert rows(path, sheet="New") == []


def test_a_workbook_that_would_fill_the_memory_is_refused_before_it_is_read(
    tmp_path: Path,
) -> None:
    path = tmp_path / "t.xlsx"
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed,
        packed.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as part,
    ):
        for _ in range(MOST_MB + 1):
            part.write(b"x" * (1 << 20))
    assert path.stat().st_size < 1_000_000
    with pytest.raises(RecordError, match=r"more than 50 MB when unpacked\. In the spreadsheet"):
        rows(path)


def test_a_lonely_cell_far_from_the_table_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "t.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, SHEET_HEADS)
        sheet.write(9_999, 16_383, "x")
    with pytest.raises(RecordError, match=r"cell in row 10000 and one in column 16384"):
        rows(path)


def test_a_damaged_workbook_is_refused(tmp_path: Path) -> None:
    path = workbook(tmp_path / "t.xlsx", {"Children": [SHEET_HEADS]})
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    with pytest.raises(RecordError, match="no whole XLSX workbook"):
        rows(path)
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("xl/worksheets/sheet1.xml", "<worksheet>")
    with pytest.raises(RecordError, match="this workbook cannot be read"):
        rows(path)


def test_a_csv_written_by_another_program_with_quotes_everywhere_is_read(tmp_path: Path) -> None:
    made = io.StringIO(newline="")
    writer = csv.writer(made, quoting=csv.QUOTE_ALL)
    writer.writerows([HEADS.decode().split(","), ["K-1", 'Badu "Bee" Oro', "2026-01-05"]])
    (row,) = rows(file(tmp_path, made.getvalue().encode()))
    assert row.cells["name"] == 'Badu "Bee" Oro'
