"""The start page says dates and ages as people do, and shows what a plan leaves to a person."""

from datetime import date

import pytest

from rehab.care.case import Child
from rehab.care.plan import Plan
from rehab.care.problems import Problem, ProblemKind
from rehab.care.visits import Visit
from rehab.letters.overview import Line, overview, overview_of, spelled_out
from rehab.measures.age_text import age_in_words
from rehab.settings import Clinic

TODAY = date(2026, 11, 23)
CLINIC = Clinic("Quillmere", phone="+999 555 0100")


def _plan(visits: tuple[Visit, ...] = (), problems: tuple[Problem, ...] = ()) -> Plan:
    child = Child("K-1", "Ana <B>", date(2026, 7, 9))
    return Plan(child, TODAY, date(2028, 5, 23), (), visits, (), problems)


@pytest.mark.parametrize(
    ("born", "said"),
    [
        (date(2026, 11, 22), "0 weeks"),
        (date(2026, 11, 16), "1 week"),
        (date(2026, 9, 24), "8 weeks"),
        (date(2026, 9, 23), "2 months"),
        (date(2024, 11, 24), "23 months"),
        (date(2024, 11, 23), "2 years"),
    ],
)
def test_an_age_is_told_by_the_unit_that_people_use(born: date, said: str) -> None:
    assert age_in_words(born, TODAY) == said


def test_dates_inside_sentences_are_spelled_out() -> None:
    said = spelled_out("was not brought (2026-08-31, 2026-01-02), row 12-2026-1")
    assert said == "was not brought (31 August 2026, 2 January 2026), row 12-2026-1"


def test_a_visit_before_the_booked_one_shows_both_days() -> None:
    today_only = Visit(TODAY, TODAY, TODAY, ())
    day = date(2026, 11, 26)
    booked = Visit(day, day, day, (), booked=True)
    (row,) = overview_of((Line(_plan((booked, today_only)), "", True),), (), CLINIC, TODAY).rows
    assert row.next_visit is not None
    assert (row.next_visit.on, row.next_visit.booked) == (TODAY, day)


def test_the_page_shows_what_waits_and_escapes_what_was_typed() -> None:
    asked = Problem(ProblemKind.REFER, "occlusion_start", "Ask <someone> by 2026-12-01.", "")
    page = overview((Line(_plan(problems=(asked,)), "A story.", False),), (), CLINIC, TODAY)
    assert "Ana &lt;B&gt;" in page
    assert "<b>Occlusion start.</b> Ask &lt;someone&gt; by 1 December 2026." in page
    assert "None planned." in page
    assert "Nobody needs to be contacted." in page
    assert "letters/K-1.html" not in page
