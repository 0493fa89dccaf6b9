import csv
import io
from datetime import date

import pytest

from rehab.care.recall import recall_list
from rehab.recall_files import HEADS, inert, recall_csv
from tests.care.cases import PROTOCOL, child, plan_for


def rows(name: str) -> list[list[str]]:
    case = child(name=name, phone="+999 555 0100")
    today = date(2026, 6, 1)
    lines = recall_list([(case, plan_for(case, today))], PROTOCOL, today=today, by=today)
    content = recall_csv(lines)
    assert content.startswith(b"\xef\xbb\xbf")
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def test_a_spreadsheet_reads_the_list_back() -> None:
    heads, line = rows("Amari, the younger")
    assert tuple(heads) == HEADS
    assert line[2] == "Amari, the younger"
    assert line[-1] == "no visit ahead, and no ending recorded"


@pytest.mark.parametrize("name", ["=1+1", "+cmd", "-2+3", "@sum(a1)", "\t=1", "\r=1"])
def test_no_name_can_become_a_formula(name: str) -> None:
    assert rows(name)[1][2] == f"'{name}"


def test_a_phone_number_is_kept_readable() -> None:
    assert inert("+999 555 0100") == "'+999 555 0100"
