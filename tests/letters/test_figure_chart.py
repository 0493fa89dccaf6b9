"""The drawings of the figures: what is drawn where, and the words beside them."""

from datetime import date
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from rehab.care.case import EndingKind
from rehab.care.figures import Attended, attendance, windows
from rehab.care.survival import Followed, kaplan_meier
from rehab.letters.figure_chart import BOTTOM, TOP, CurveChart, attendance_chart, curve_chart
from tests.care.cases import PROTOCOL
from tests.report_figures import made_report

SVG = "{http://www.w3.org/2000/svg}"
TODAY = date(2026, 12, 1)


def drawn(text: str) -> ElementTree.Element:
    return ElementTree.fromstring(text)


def texts(svg: ElementTree.Element) -> list[str]:
    return ["".join(t.itertext()).strip() for t in svg.iter(f"{SVG}text")]


def height(percent: float) -> float:
    return BOTTOM + (TOP - BOTTOM) * percent / 100


def numbers(points: str) -> list[tuple[float, float]]:
    pairs = (point.split(",") for point in points.split())
    return [(float(x), float(y)) for x, y in pairs]


def test_every_share_stands_at_its_height_with_its_interval_and_its_number_due() -> None:
    svg = drawn(attendance_chart(made_report().attendance, "Attendance"))
    marks = [float(c.get("cy", "")) for c in svg.iter(f"{SVG}circle") if c.get("cx") != "256"]
    wanted = [height(100), height(50), height(25)]
    assert marks[:3] == pytest.approx(wanted, abs=0.06)
    # Wilson for 3 of 6: 18.8 to 81.2 %.
    ends = {float(line.get("y1", "")) for line in svg.iter(f"{SVG}line")}
    assert any(y == pytest.approx(height(81.24), abs=0.1) for y in ends)
    due = [t.text for t in svg.iter(f"{SVG}text") if t.get("y") == str(BOTTOM + 68)]
    assert due == ["6", "6", "0", "0", "4", "due"]


def test_the_published_cohort_is_marked_apart_never_joined_and_named_no_target() -> None:
    svg = drawn(attendance_chart(made_report().attendance, "Attendance"))
    assert len(list(svg.iter(f"{SVG}path"))) == 4 + 1, "four time points to one year and the key"
    assert not list(svg.iter(f"{SVG}polyline"))
    assert "a published cohort elsewhere (n = 169), not a target" in texts(svg)


def test_few_children_are_drawn_paler() -> None:
    svg = drawn(attendance_chart(made_report().attendance, "Attendance"))
    pale = [c for c in svg.iter(f"{SVG}circle") if c.get("fill") == "#bbb"]
    assert len(pale) == 1 + 1, "one year, of four children, and the key"


def test_later_points_of_few_children_are_left_to_the_table() -> None:
    counts: dict[tuple[str, Attended | EndingKind], int] = {
        ("1 week", Attended.YES): 9,
        ("16 years", Attended.NO): 1,
    }
    points = attendance(counts, windows(PROTOCOL, TODAY), PROTOCOL, TODAY)
    svg = drawn(attendance_chart(points, "Attendance"))
    assert "5 years" in texts(svg)
    assert "6 years" not in texts(svg)
    assert texts(svg)[-1].endswith("Later points: in the file.")


def test_the_words_say_what_the_drawing_shows() -> None:
    words = drawn(attendance_chart(made_report().attendance, "Attendance")).find(f"{SVG}desc")
    assert words is not None
    assert "1 month: 3 of 6 attended, 50 % (19 to 81 %); elsewhere 85 %." in str(words.text)
    assert "1 year: 1 of 4 attended, 25 % (5 to 70 %), too few to judge" in str(words.text)
    assert "3 months: nobody due" in str(words.text)


def chart(*followed: tuple[str, dict[Followed, int]], until: int | None = None) -> str:
    curves = tuple((label, kaplan_meier(told)) for label, told in followed)
    return curve_chart(CurveChart("loss", "Loss", "%", "time", "children", "lost", curves, until))


ONE = ("all", {Followed(100, True): 2, Followed(150, False): 4, Followed(200, True): 2})


def test_the_curve_falls_in_steps_that_stand_where_the_losses_were() -> None:
    (line,) = drawn(chart(ONE)).iter(f"{SVG}polyline")
    points = numbers(line.get("points", ""))
    heights = [y for _, y in points]
    assert heights == sorted(heights), "it only falls"
    assert set(heights) == {height(100), height(75), height(0)}
    steps = list(pairwise(points))
    assert all(a[0] == b[0] or a[1] == b[1] for a, b in steps), "no slanting line"


def test_a_single_curve_has_its_band_and_two_have_none() -> None:
    assert len(list(drawn(chart(ONE)).iter(f"{SVG}polygon"))) == 1
    two = drawn(chart(ONE, ("other", {Followed(50, True): 3, Followed(90, False): 3})))
    assert not list(two.iter(f"{SVG}polygon"))
    dashes = [line.get("stroke-dasharray") for line in two.iter(f"{SVG}polyline")]
    assert dashes == [None, "7 4"], "told apart without colour"


def test_the_numbers_still_followed_stand_under_the_axis() -> None:
    said = texts(drawn(chart(ONE)))
    after = said[said.index("Still followed:") + 1 :]
    # Every four weeks up to day 200: 8 up to day 100, 6 until 150, then the last 2.
    assert after[:8] == ["8", "8", "8", "8", "6", "6", "2", "2"]


def test_a_cut_curve_says_where_it_was_cut() -> None:
    said = texts(drawn(chart(ONE, until=120)))
    assert said[-1].endswith("Drawn up to day 120.")


@pytest.mark.parametrize("longest", [0, 1, 6, 40, 90, 300, 1000, 4000, 7000])
def test_any_length_has_a_few_ticks_in_a_unit_that_is_named(longest: int) -> None:
    svg = drawn(chart(("all", {Followed(longest, False): 3})))
    unit = next(t for t in texts(svg) if t.startswith("time, ")).removeprefix("time, ")
    assert unit in ("days", "weeks", "months", "years")
    ticks = [line for line in svg.iter(f"{SVG}line") if line.get("y2") == str(BOTTOM + 6)]
    assert 1 <= len(ticks) <= 10


def test_few_children_are_said_to_be_too_few() -> None:
    assert "all: too few to judge" in texts(drawn(chart(("all", {Followed(9, True): 4}))))
