"""The figures of a clinic as one page: each with its chart, its table and what it counts."""

from collections.abc import Sequence
from dataclasses import dataclass

from rehab.letters.render import environment
from rehab.report_desk import Report
from rehab.report_tables import Listing
from rehab.settings import Clinic

# What a person still reads on paper; the file has all.
MOST_ROWS = 60


@dataclass(frozen=True, slots=True)
class Section:
    """One figure on the page; `chart` is a finished drawing, "" for none."""

    listing: Listing
    chart: str = ""
    file: str = ""


@dataclass(frozen=True, slots=True)
class Page:
    """All that the template may know."""

    clinic: Clinic
    report: Report
    sections: Sequence[Section]
    most_rows: int = MOST_ROWS


def report_page(page: Page) -> str:
    """HTML that can be sent on its own and printed; it holds numbers of children, no names."""
    return environment().get_template("report/page.html").render(page=page)
