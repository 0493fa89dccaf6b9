"""The drawing of a course of occlusion: what is joined, what is not, and the words beside it."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any
from xml.etree import ElementTree

import pytest

from rehab.care.case import Case
from rehab.care.wear import WearDay
from rehab.errors import LetterError
from rehab.letters.occlusion_chart import occlusion_chart
from tests.care.cases import PROTOCOL, child, plan_for, removal

TODAY = date(2026, 6, 1)
SVG = "{http://www.w3.org/2000/svg}"


def seen(on: date, right: str, left: str, test: str) -> dict[str, Any]:
    return {"on": on, "test": test, "right": {"acuity": right}, "left": {"acuity": left}}


def occluded(*exams: dict[str, Any]) -> Case:
    return child(
        surgery=[removal("right", date(2026, 1, 10))],
        exam=[{"on": date(2026, 1, 17), "right": {"wears": "contact lens"}}, *exams],
        occlusion=[
            {"eye": "left", "starts": date(2026, 1, 19), "who": "S. Lindqvist"},
        ],
    )


def drawn(case: Case, *wear: WearDay) -> ElementTree.Element:
    return ElementTree.fromstring(occlusion_chart(case, wear, PROTOCOL, plan_for(case, TODAY)))


def dashed(svg: ElementTree.Element) -> list[str]:
    return [p.get("points", "") for p in svg.iter(f"{SVG}polyline") if p.get("stroke-dasharray")]


GRATINGS = [
    seen(date(2026, 2, 2), "1.0 cpd", "2.0 cpd", "grating cards"),
    seen(date(2026, 3, 2), "1.3 cpd", "2.6 cpd", "grating cards"),
]


def test_results_of_one_test_are_joined_and_of_different_tests_never() -> None:
    assert [len(line.split()) for line in dashed(drawn(occluded(*GRATINGS)))] == [2]
    other = seen(date(2026, 4, 6), "1.6 cpd", "3.2 cpd", "other cards")
    assert [len(line.split()) for line in dashed(drawn(occluded(*GRATINGS, other)))] == [2]


def test_the_eyes_are_told_apart_without_colour_and_every_result_has_its_noise() -> None:
    svg = drawn(occluded(*GRATINGS))
    circles, squares = list(svg.iter(f"{SVG}circle")), list(svg.iter(f"{SVG}rect"))
    assert len(circles) == 2 + 1, "two looks and the key"
    assert len([s for s in squares if s.get("width") == "9"]) == 2 + 1
    # Mayer 1995: an octave is beyond retest; the cut between cards stands at 0.25, half is 0.125.
    bars = [
        line for line in svg.iter(f"{SVG}line")
        if line.get("x1") == line.get("x2") and line.get("stroke") == "#000"
        and float(line.get("y1", 0)) < 330
    ]  # fmt: skip
    assert len(bars) == 4


def test_the_words_say_what_the_drawing_shows() -> None:
    worn = [WearDay(date(2026, 2, 2) + timedelta(days=n), 60) for n in range(7)]
    words = drawn(occluded(*GRATINGS), *worn).findtext(f"{SVG}desc")
    assert words is not None
    assert "The treated, right eye: 2026-02-02 1.48 logMAR by grating cards" in words
    assert "The better, left eye: 2026-02-02 1.18 logMAR by grating cards" in words
    assert "Prescribed: 2 h a day from 2026-01-19 to 2026-02-09; 3 h a day from" in words
    assert "Worn: 1.0 h a day on average in the 1 weeks with a record." in words


def test_an_entry_that_is_not_counted_is_not_drawn() -> None:
    asleep = WearDay(date(2026, 2, 2), 1200)
    words = drawn(occluded(*GRATINGS), asleep).findtext(f"{SVG}desc")
    assert words is not None
    assert "Worn: nothing recorded." in words


def test_the_same_records_give_the_same_bytes() -> None:
    case = occluded(*GRATINGS)
    plan = plan_for(case, TODAY)
    assert occlusion_chart(case, (), PROTOCOL, plan) == occlusion_chart(case, (), PROTOCOL, plan)


def test_without_hours_there_is_nothing_to_draw() -> None:
    case = replace(occluded(*GRATINGS), regimens=())
    with pytest.raises(LetterError, match="T-1: there are no hours of occlusion to draw"):
        drawn(case)
