"""Small tables as CSV: nothing written runs, and what is read back is what was meant."""

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
