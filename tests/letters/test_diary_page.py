"""A diary page has a row for each of fourteen days with the hours agreed for it, or is refused."""

import re

import pytest

from rehab.care.case import Eye
from rehab.care.plan import Plan
from rehab.errors import LetterError
from tests.letters.plans import day, letter_page, plan, span, whole_plan
from tests.letters.test_family import LOOK_FIRST, PROPOSED, text


def rows(told: Plan) -> list[tuple[str, list[str]]]:
    """Each row's day and the text of its cells."""
    body = letter_page(told, kind="diary").split("<tbody>")[1].split("</tbody>")[0]
    return [
        (
            re.findall(r'datetime="([^"]+)"', row)[0],
            [re.sub(r"<[^>]+>", "", cell) for cell in re.findall(r"<td>(.*?)</td>", row, re.S)],
        )
        for row in body.split("</tr>")[:-1]
    ]


def test_fourteen_days_from_today_have_the_hours_agreed_for_each() -> None:
    told = rows(whole_plan())
    assert [on for on, _ in told] == [day(n).isoformat() for n in range(14)]
    assert [cells[0] for _, cells in told] == ["2 h 30 min"] * 5 + ["3 h"] * 9


def test_hours_worn_and_the_sticker_are_empty_and_a_booked_visit_is_noted() -> None:
    told = rows(whole_plan())
    assert {tuple(cells[1:3]) for _, cells in told} == {("", "")}
    assert [on for on, cells in told if cells[3] == "visit"] == [day(7).isoformat()]


def test_days_before_the_hours_begin_and_after_they_end_are_told_as_such() -> None:
    cells = [cells[0] for _, cells in rows(plan(occlusion=(span(2, 9, 60), span(9, 11, 0))))]
    assert cells == ["Not yet"] * 2 + ["1 h"] * 7 + ["no patch"] * 2 + ["Ring us first"] * 3


def test_a_change_of_the_covered_eye_stands_in_each_row() -> None:
    both = plan(occlusion=(span(0, 7, 60), span(7, 40, 45, eye=Eye.RIGHT)))
    cells = [cells[0] for _, cells in rows(both)]
    assert cells == ["left eye: 1 h"] * 7 + ["right eye: 45 min"] * 7
    assert "The covered eye changes." in text(letter_page(both, kind="diary"))


def test_hours_on_some_days_have_a_square_to_tick() -> None:
    weekly = letter_page(plan(occlusion=(span(0, 40, 60, days_per_week=5),)), kind="diary")
    assert weekly.count('class="square"') == 14
    assert "Tick the days. Patch time: on 5 days of each week." in text(weekly)


def test_it_says_how_to_fill_it_in_and_when_to_take_the_patch_off() -> None:
    said = text(letter_page(whole_plan(), kind="diary"))
    for line in (
        "Cover this eye: left eye.",
        "Write the hours, also on a hard day. Bring this page.",
        "Sum of the hours worn:",
        "Never leave it on overnight.",
        "Take the patch off and ring us today if you see\ndouble vision that is new",
    ):
        assert line in said


@pytest.mark.parametrize(
    "told",
    [PROPOSED, LOOK_FIRST, plan(occlusion=(span(20, 40, 60),)), plan()],
    ids=["proposed", "look first", "later", "nothing"],
)
def test_without_agreed_hours_there_is_no_diary_page(told: Plan) -> None:
    with pytest.raises(LetterError) as refused:
        letter_page(told, kind="diary")
    assert str(refused.value) == (
        "diary letter of child R-0042: no patching hours are agreed for the next two weeks. "
        "Record what was agreed, or write a family letter."
    )
