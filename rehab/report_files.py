"""Files of the figures: spreadsheets that open anywhere and run nothing, charts, and the page."""

from collections.abc import Iterator, Sequence

from rehab.care.proportion import FEWEST
from rehab.csv_files import csv_bytes
from rehab.letters.figure_chart import CurveChart, attendance_chart, curve_chart
from rehab.letters.report_page import Page, Section, report_page
from rehab.report_desk import Figure, Report
from rehab.report_tables import TITLES, Values, curve_values, listing
from rehab.settings import Clinic

PAGE = "figures.html"
# Beyond half a year the few eyes still without would press the first weeks together.
CORRECTION_DAYS = 183


def figure_csv(values: Sequence[Values]) -> bytes:
    """One line for each row, under the names of its values; an empty file where there is none."""
    heads = (tuple(values[0]),) if values else ()
    return csv_bytes((*heads, *(row.values() for row in values)))


def report_files(report: Report, clinic: Clinic) -> Iterator[tuple[str, bytes]]:
    """The page, and beside it each table and each chart, by name of the file."""
    sections = []
    for figure in Figure:
        table, chart = listing(report, figure), _chart(report, figure)
        sections.append(Section(table, chart, f"{figure}.csv"))
        yield f"{figure}.csv", figure_csv(table.values)
        if chart:
            yield f"{figure}.svg", chart.encode()
    yield "loss-curve.csv", figure_csv(tuple(curve_values(report.loss)))
    yield PAGE, report_page(Page(clinic, report, sections)).encode()


def _chart(report: Report, figure: Figure) -> str:
    """The drawing of a figure that has one, and anything to draw."""
    match figure:
        case Figure.ATTENDANCE:
            return attendance_chart(report.attendance, TITLES[figure])
        case Figure.LOSS if report.loss.longest_days:
            return curve_chart(
                CurveChart(
                    "loss",
                    TITLES[figure],
                    "Children not lost to follow-up, %",
                    "time after the first lens removal",
                    "children",
                    "lost",
                    (("all children", report.loss),),
                    report.loss.last_day_of(FEWEST),
                )
            )
        case Figure.CORRECTION if any(c.longest_days for _, c in report.corrections):
            # Beside its parts the whole would only hide them.
            parts = report.corrections[1:]
            return curve_chart(
                CurveChart(
                    "correction",
                    TITLES[figure],
                    "Operated eyes still without a contact lens or glasses, %",
                    "time after lens removal of the eye",
                    "eyes",
                    "corrected",
                    parts,
                    CORRECTION_DAYS,
                )
            )
        case _:
            return ""
