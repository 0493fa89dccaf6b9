"""The judges of printed pages: each is silent on a sound page and speaks on a spoilt one."""

from functools import cache

import pytest
import typst
from PIL import Image

from rehab.shipped_files import shipped
from tests.letters.page_judges import cut_off, difference, overlaps, page_pictures, small_picture

FACE = (
    "#place(dx: 90mm, dy: 30mm, box(width: 40mm, height: 30mm, stroke: 1pt, {"
    "place(dx: COVERED, dy: 8mm, circle(radius: 5mm, fill: black)); "
    "place(dx: OPEN, dy: 8mm, circle(radius: 5mm, stroke: 1pt)) }))"
)
SOUND = f"""= Letter
Patch the right eye for 2 hours. Ring 555 0100 (see #underline[below] or page 2).

#table(columns: 2, table.header[Day][Hours], [Monday gypq], [2], [Tuesday], [3])
#rect(width: 40mm)[Boxed words]
{FACE.replace("COVERED", "4mm").replace("OPEN", "24mm")}
"""
ARABIC = '#text(lang: "ar", font: "Noto Naskh Arabic")[غطّوا العين اليمنى ساعتين، احمرّت العين]'
HINDI = '#text(lang: "hi", font: "Noto Sans Devanagari")[स्वास्थ्य के लिए दाईं आँख ढकें, क्लिनिक को फ़ोन करें]'
TAMIL = '#text(lang: "ta", font: "Noto Sans Tamil")[ஒவ்வொரு நாளும் வலது கண்ணை மூடவும்]'
SCRIPTS = SOUND + "".join(f"\n#block(width: 85mm)[{text * 5}]" for text in (ARABIC, HINDI, TAMIL))
WIDE = "#box(width: 60mm)[Appointment on Wednesday]"


def page(body: str) -> bytes:
    source = (
        '#set document(title: "Letter", date: datetime(year: 2026, month: 1, day: 1))\n'
        '#set page(paper: "a4", margin: 18mm)\n#set text(lang: "en", font: "Noto Sans")\n'
    )
    fonts = typst.Fonts(False, False, [str(shipped("templates") / "fonts")])
    made = typst.compile((source + body).encode(), pdf_standards="ua-1", font_paths=fonts)
    assert isinstance(made, bytes)
    return made


@pytest.mark.parametrize("body", [SOUND, SCRIPTS], ids=["latin", "four scripts"])
def test_a_sound_page_is_whole_and_nothing_lies_over_anything(body: str) -> None:
    assert cut_off(page(body)) == []
    assert overlaps(page(body)) == []


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("#place(top, dx: -30mm, dy: 99mm)[Off the sheet]", "not to be seen"),
        ("#place(top, dx: 150mm, dy: 99mm, rect(width: 60mm))", "of the edge or off it"),
        ("#place(top, dx: -16mm, dy: 99mm)[Near the edge]", "of the edge or off it"),
        (f"#box(width: 12mm, clip: true)[{WIDE}]", "not to be seen"),
        ("#text(white)[Nobody sees this]", "not to be seen"),
        ("#place(top, rect(width: 40mm, height: 20mm, fill: white))", "not to be seen"),
    ],
    ids=["off the sheet", "a box over the edge", "margin", "clipped", "white", "covered"],
)
def test_what_is_cut_off_is_told(fault: str, said: str) -> None:
    problems = cut_off(page(f"{SOUND}\n{fault}"))
    assert any(said in problem for problem in problems), problems


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("#place(top, dy: 13mm)[Words of another paragraph]", "over"),
        (f"#table(columns: (12mm, 9cm), table.header[a][b], [{WIDE}], [2 hours])", "over 'hours'"),
        (f"#rect(width: 20mm)[{WIDE}]", "a line through"),
        ("#strike[Not today]", "a line through 'today'"),
    ],
    ids=["two paragraphs", "out of its cell", "out of its box", "struck"],
)
def test_what_lies_over_something_is_told(fault: str, said: str) -> None:
    problems = overlaps(page(f"{SOUND}\n{fault}"))
    assert any(said in problem for problem in problems), problems


@cache
def kept() -> Image.Image:
    return small_picture(page_pictures(page(SOUND))[0])


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("dx: 90mm", "dx: 91mm"),
        (
            "dx: 4mm, dy: 8mm, circle(radius: 5mm, fill: black)",
            "dx: 4mm, dy: 8mm, circle(radius: 5mm)",
        ),
        ("dx: 4mm", "dx: 24mm"),
        ("right eye", "left eye"),
        ("#rect(width: 40mm)[Boxed words]", ""),
    ],
    ids=["moved by 1 mm", "no eye covered", "the other eye covered", "a word", "a box gone"],
)
def test_a_changed_page_is_told_from_the_one_that_was_kept(before: str, after: str) -> None:
    changed = page(SOUND.replace(before, after))
    assert not difference(small_picture(page_pictures(changed)[0]), kept()).same


def test_an_unchanged_page_is_the_same_also_when_smoothed_in_another_way() -> None:
    pdf = page(SOUND)
    assert difference(small_picture(page_pictures(pdf)[0]), kept()).same
    fine = page_pictures(pdf, dpi=192)[0].reduce(2).resize(page_pictures(pdf)[0].size)
    assert difference(small_picture(fine), kept()).same


def test_another_size_of_paper_is_another_page() -> None:
    letter = page(SOUND.replace("= Letter", '#set page(paper: "us-letter")\n= Letter'))
    assert not difference(small_picture(page_pictures(letter)[-1]), kept()).same
