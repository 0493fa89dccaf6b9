"""The recall list in spreadsheets: read back by independent readers, and nothing in it runs."""

import csv
import io
from datetime import date

import pytest
from python_calamine import CalamineWorkbook

from rehab.care.contacts import Contact, ContactTry, TryOutcome, Way
from rehab.care.recall import Recall, recall_list
from rehab.recall_files import HEADS, recall_csv, recall_sheet, ring
from tests.care.cases import PROTOCOL, child, plan_for, removal, tried

TODAY = date(2026, 6, 1)
CALLED = ContactTry("T1", date(2026, 5, 29), Way.PHONE, TryOutcome.NO_ANSWER)
# A leading tab or carriage return may be dropped on import, so what follows counts.
OPENS_A_FORMULA = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
MOTHER = Contact("C1", "Nomsa M", "mother", "+999 555 0101")


def lines(name: str = "Amari, the younger") -> tuple[Recall, ...]:
    told = child(name=name, phone="+999 555 0100", surgery=[removal("right", date(2026, 5, 28))])
    case = tried(told, CALLED, contacts=(MOTHER,))
    return recall_list([(case, plan_for(case, TODAY))], PROTOCOL, today=TODAY, by=TODAY)


def rows(name: str = "Amari, the younger", delimiter: str = ",") -> list[list[str]]:
    content = recall_csv(lines(name), TODAY)
    assert content.startswith(b"\xef\xbb\xbf")
    text = io.StringIO(content.decode("utf-8-sig"), newline="")
    return list(csv.reader(text, delimiter=delimiter))


def test_a_spreadsheet_reads_the_list_back() -> None:
    heads, line = rows()
    assert tuple(heads) == HEADS
    told = dict(zip(heads, line, strict=True))
    assert (told["number"], told["name"], told["age"]) == ("T-1", "Amari, the younger", "6 months")
    assert told["contact"] == "TODAY"
    assert told["why"].startswith("overdue since 2026-05-29: post operative review")
    assert told["ring"] == "Nomsa M (mother) +999 555 0101 / +999 555 0100"
    assert told["last_tries"] == "2026-05-29 phone call: no answer"
    assert told["because"].startswith("recall_urgency/first-six-weeks-overdue: age months 6, ")
    assert [told[name] for name in ("spoke_to", "new_date", "next_try")] == ["", "", ""]


def test_the_workbook_holds_the_same_columns_and_cells() -> None:
    made = recall_sheet(lines(), TODAY)
    sheet = CalamineWorkbook.from_filelike(io.BytesIO(made)).get_sheet_by_name("Recall list")
    heads, line = sheet.to_python()
    assert tuple(heads) == HEADS
    # Numbers come back as 3.0 from a workbook.
    read = [int(cell) if isinstance(cell, float) else cell for cell in line]
    assert [str(cell) for cell in read] == rows()[1]


@pytest.mark.parametrize("start", [*OPENS_A_FORMULA, "\t=", "\r="])
@pytest.mark.parametrize("before", ["", ";", "a;", "a; ", "a\t"])
def test_no_name_can_become_a_formula_wherever_a_spreadsheet_splits(
    start: str, before: str
) -> None:
    for delimiter in ",;\t":
        for cell in (cell for row in rows(f"{before}{start}1+1", delimiter) for cell in row):
            assert not cell.strip().startswith(OPENS_A_FORMULA), cell


def test_each_number_stands_once_with_whose_it_is() -> None:
    told = child(phone="+999 555 0101")
    (line,) = recall_list(
        [(tried(told, contacts=(MOTHER,)), plan_for(told, TODAY))],
        PROTOCOL,
        today=TODAY,
        by=TODAY,
    )
    assert ring(line) == ("Nomsa M (mother) +999 555 0101",)
