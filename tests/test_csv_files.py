"""Small tables as CSV: nothing written runs, and what is read back is what was meant."""

import os
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.csv_files import as_meant, csv_bytes, inert, read_lines, read_small_table
from rehab.errors import RecordError


def test_a_phone_number_is_kept_readable() -> None:
    assert inert("+999 555 0100") == "'+999 555 0100"
    assert inert("Nomsa M (mother) +999 555 0101") == "Nomsa M (mother) +999 555 0101"


@given(st.text(alphabet="=+-@＝a;\t\n '", max_size=8).filter(lambda text: "'" not in text))
def test_what_was_made_inert_is_read_as_it_was_meant(text: str) -> None:
    assert as_meant(inert(text)) == text


@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_a_table_is_read_back_however_a_spreadsheet_separates_it(tmp_path: Path, sign: str) -> None:
    file = tmp_path / "table.csv"
    written = csv_bytes((("Number", "note"), ("K-1", "=1+1"), ("K-2", None))).decode("utf-8-sig")
    file.write_text(written.replace(",", sign), encoding="utf-8-sig")
    table = read_small_table(file)
    assert table.heads == ("number", "note")
    assert table.lines == ((2, ("K-1", "=1+1")), (3, ("K-2", "")))


def test_every_odd_line_is_told_with_its_number_and_an_empty_line_is_none(tmp_path: Path) -> None:
    def how(line: int, cells: Mapping[str, str]) -> str:
        if cells["b"] == "x":
            raise RecordError("says x.")
        return f"{line} {cells['a']}"

    file = tmp_path / "table.csv"
    file.write_text("a,b\n1,y\n\n2,x\n3\n", encoding="utf-8")
    with pytest.raises(RecordError) as told:
        read_lines(read_small_table(file), how)
    assert str(told.value) == (
        f"{file}: line 4: says x. line 5: has more or fewer columns than the first line. "
        "Nothing was written. Correct these lines."
    )
    file.write_text("a,b\n1,y\n\n2,y\n", encoding="utf-8")
    assert read_lines(read_small_table(file), how) == ("2 1", "4 2")


def test_a_pipe_and_a_file_too_large_to_be_a_small_table_are_not_read(tmp_path: Path) -> None:
    pipe, large = tmp_path / "pipe", tmp_path / "large.csv"
    os.mkfifo(pipe)
    large.touch()
    os.truncate(large, 50_000_001)
    for path, words in ((pipe, "this is no ordinary file."), (large, "is larger than 50 MB.")):
        with pytest.raises(RecordError, match=words):
            read_small_table(path)


def test_of_many_odd_lines_the_first_are_told_and_the_others_counted(tmp_path: Path) -> None:
    file = tmp_path / "table.csv"
    file.write_text("a,b\n" + "1\n" * 23, encoding="utf-8")
    with pytest.raises(RecordError) as told:
        read_lines(read_small_table(file), lambda line, cells: line)
    said = str(told.value)
    assert said.count("has more or fewer columns") == 20
    assert "line 21: has more or fewer columns than the first line. And 3 more lines." in said
