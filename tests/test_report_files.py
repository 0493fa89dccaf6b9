"""The files of a report: spreadsheets that run nothing, charts, and the page."""

import csv
import io
from dataclasses import replace
from html.parser import HTMLParser

from rehab.care.figures import NoDate
from rehab.letters.report_page import MOST_ROWS
from rehab.report_desk import Figure
from rehab.report_files import PAGE, figure_csv, report_files
from rehab.report_tables import listing
from rehab.settings import Clinic
from tests.report_figures import made_report

CLINIC = Clinic("Harbour <Eye> Clinic")


def files() -> dict[str, bytes]:
    return dict(report_files(made_report(), CLINIC))


def lines(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"))))


def test_every_figure_has_its_spreadsheet_and_three_have_a_chart() -> None:
    assert sorted(files()) == sorted(
        [PAGE, "loss-curve.csv", *(f"{figure}.csv" for figure in Figure),
         "attendance.svg", "correction.svg", "loss.svg"]
    )  # fmt: skip


def test_a_spreadsheet_holds_what_the_table_says() -> None:
    rows = lines(files()["attendance.csv"])
    assert (rows[1]["point"], rows[1]["due"], rows[1]["attended"]) == ("1 month", "6", "3")
    assert (rows[1]["percent"], rows[1]["published_percent"]) == ("50.0", "85")
    assert rows[0]["published_percent"] == "", "nothing is published for one week"
    assert [row["days"] for row in lines(files()["loss-curve.csv"])] == ["120", "400"]


def test_a_spreadsheet_runs_nothing() -> None:
    report = replace(made_report(), no_date=(NoDate("=1+1", None, None),))
    (row,) = lines(figure_csv(listing(report, Figure.NO_DATE).values))
    assert row["number"] == "'=1+1"
    assert figure_csv(()) == b"\xef\xbb\xbf"


def test_the_page_holds_every_figure_its_definitions_and_its_drawings_unbroken() -> None:
    page = files()[PAGE].decode()
    assert "Harbour &lt;Eye&gt; Clinic" in page
    assert page.count("<svg ") == 3
    assert "&lt;svg" not in page
    report = made_report()
    for figure in Figure:
        table = listing(report, figure)
        for words in (table.title, *(cell for row in table.rows for cell in row)):
            assert words in page, words
    assert "not a target" in page


def test_a_long_list_is_cut_on_the_page_and_whole_in_its_file() -> None:
    report = replace(
        made_report(), no_date=tuple(NoDate(f"K-{n}", None, None) for n in range(MOST_ROWS + 2))
    )
    made = dict(report_files(report, CLINIC))
    assert "2 more are in the file no-date.csv." in made[PAGE].decode()
    assert len(lines(made["no-date.csv"])) == MOST_ROWS + 2


def test_no_two_things_on_the_page_share_a_name() -> None:
    found: list[str] = []

    class Names(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            found.extend(value or "" for name, value in attrs if name == "id")

    Names().feed(files()[PAGE].decode())
    assert len(found) == len(set(found)) >= 10


def test_the_page_tells_of_children_that_could_not_be_counted() -> None:
    report = replace(made_report(), failed=(("K-7", "no edition is in force."),))
    page = dict(report_files(report, CLINIC))[PAGE].decode()
    assert "K-7" in page
    assert "no edition is in force." in page


def test_the_same_figures_give_the_same_files() -> None:
    assert files() == files()
