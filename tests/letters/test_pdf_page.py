"""A letter on paper: tagged, whole, found again word for word, or refused before it is written."""

import re
from dataclasses import replace
from html import unescape
from itertools import groupby
from pathlib import Path

import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from rehab.care.case import Child, Eye
from rehab.care.plan import Plan
from rehab.errors import LetterError
from rehab.letters.facts import About, PhoneCalendar, facts_of
from rehab.letters.languages import SOURCE, language
from rehab.letters.letter import Letter, write_letter
from rehab.letters.pdf_page import Printing, pdf_of
from rehab.settings import Paper
from tests.letters.kinds import every_kind, every_language, letter_of
from tests.letters.page_judges import cut_off
from tests.letters.pdf_judges import missing_glyphs, share_found, texts_of, ua_problems
from tests.letters.plans import CHILD, CLINIC, plan, span, whole_plan
from tests.letters.test_family import LETTERS

# Of the words of a letter that another reader must find in its PDF.
FOUND = 0.95
# Where the eyes are in the drawing of the face, as shares of its height from the top.
EYES = (0.3, 0.57)

every_letter = pytest.mark.parametrize("plan", LETTERS.values(), ids=LETTERS.keys())


def family(plan: Plan, code: str = SOURCE, about: About | None = None) -> Letter:
    """The letter in one language alone, as after a review."""
    told = language(code)
    facts = facts_of(plan, CLINIC, about or About())
    reviewed = frozenset({told.digest})
    return write_letter("family", facts, told, language(SOURCE), reviewed=reviewed)


def named(name: str) -> Letter:
    return family(replace(whole_plan(), child=replace(CHILD, name=name)))


def words(letter: Letter) -> str:
    return unescape(re.sub(r"<[^>]+>", " ", letter.words[0].body))


def pages(pdf: bytes) -> int:
    return len(pypdfium2.PdfDocument(pdf))


def picture(pdf: bytes, page: int, dpi: int = 100) -> Image.Image:
    drawn: Image.Image = pypdfium2.PdfDocument(pdf)[page].render(scale=dpi / 72).to_pil()
    return drawn.convert("L")


@every_kind
@every_language
def test_every_letter_in_every_language_is_whole_for_those_who_hear_it(
    kind: str, code: str
) -> None:
    """ISO 14289-1 as far as an independent checker sees, and every word found again."""
    letter = letter_of(kind, code)
    pdf = pdf_of([letter], Printing())
    assert ua_problems(pdf) == []
    assert missing_glyphs(pdf) == []
    for reader, found in texts_of(pdf).items():
        assert share_found(words(letter), found) >= FOUND, reader


@every_letter
def test_every_kind_of_plan_prints_and_is_tagged(plan: Plan) -> None:
    letter = family(plan)
    pdf = pdf_of([letter], Printing(large_print=True))
    assert ua_problems(pdf) == []
    assert share_found(words(letter), texts_of(pdf)["pdfium"]) == 1


def test_the_same_letter_gives_the_same_bytes() -> None:
    letters = [family(whole_plan()), named("Another Name")]
    assert pdf_of(letters, Printing()) == pdf_of(letters, Printing())


def test_each_letter_of_a_stack_begins_on_a_new_sheet() -> None:
    """So that no family finds another's letter on the back of its own."""
    one = pages(pdf_of([family(whole_plan())], Printing()))
    first, second = family(whole_plan()), named("Oro Marrow")
    stack = pypdfium2.PdfDocument(pdf_of([first, second], Printing()))
    starts = [
        n
        for n, page in enumerate(stack)
        if "Eye plan for" in page.get_textpage().get_text_bounded()
    ]
    assert starts == [0, one + one % 2]


def test_paper_is_as_the_clinic_has_it() -> None:
    for paper, size in ((Paper.A4, (595, 842)), (Paper.LETTER, (612, 792))):
        page = pypdfium2.PdfDocument(pdf_of([family(whole_plan())], Printing(paper)))[0]
        assert tuple(round(side) for side in page.get_size()) == size


Place = tuple[float, float]


def label_boxes(page: pypdfium2.PdfPage, labels: tuple[str, ...]) -> list[tuple[Place, Place]]:
    """Where two labels stand beside each other: the middle and the top of each, in points."""
    text = page.get_textpage()
    places: list[list[Place]] = []
    for label in labels:
        found, search = [], text.search(label)
        while at := search.get_next():
            boxes = [text.get_charbox(n) for n in range(at[0], at[0] + at[1])]
            middle = (min(box[0] for box in boxes) + max(box[2] for box in boxes)) / 2
            found.append((middle, max(box[3] for box in boxes)))
        places.append(found)
    return [(p, q) for p in places[0] for q in places[1] if abs(p[1] - q[1]) < 3]


@every_language
@pytest.mark.parametrize("covered", list(Eye))
def test_the_drawing_covers_the_eye_that_the_words_name(code: str, covered: Eye) -> None:
    """Seen by someone who looks at the child: the right eye is on their left, in every script."""
    letter = family(plan(occlusion=(span(0, 30, 60, eye=covered),)), code)
    pdf = pdf_of([letter], Printing())
    gettext = language(code).words.gettext
    labels = gettext("right eye"), gettext("left eye")
    opened = pypdfium2.PdfDocument(pdf)
    [(n, page, (right, left))] = [
        (n, page, pair) for n, page in enumerate(opened) for pair in label_boxes(page, labels)
    ]
    assert right[0] < left[0]
    scale = 2
    drawn = picture(pdf, n, 72 * scale)
    middle = round((right[0] + left[0]) / 2 * scale)
    half = 36 * scale
    above = round((page.get_height() - right[1]) * scale) - 1
    head = 45 * scale
    face = face_above(drawn, range(middle - head, middle + head), above)
    top, foot = face[0] + EYES[0] * len(face), face[0] + EYES[1] * len(face)
    ink = {
        eye: sum(drawn.crop((x, round(top), x + half, round(foot))).histogram()[:128])
        for eye, x in ((Eye.RIGHT, middle - half), (Eye.LEFT, middle))
    }
    assert ink[covered] > 1.3 * ink[covered.fellow], ink


def face_above(drawn: Image.Image, columns: range, label_top: int) -> range:
    """The rows of the picture, as high as it is wide, that stands next above the labels."""
    strip = drawn.crop((columns[0], 0, columns[-1], label_top))
    lines = (strip.crop((0, y, strip.width, y + 1)) for y in range(strip.height))
    runs = groupby(enumerate(lines), key=lambda line: any(line[1].histogram()[:128]))
    inked = [[y for y, _ in run] for dark, run in runs if dark]
    face = [rows for rows in inked if 0.9 < len(rows) / len(columns) < 1.1][-1]
    return range(face[0], face[-1] + 1)


def test_the_square_is_read_by_a_camera() -> None:
    address = "webcal://calendars.example.org/feeds/0a1b2c3d4e5f60718293a4b5c6d7e8f901234567.ics"
    about = About(calendar=PhoneCalendar(address, address))
    pdf = pdf_of([family(whole_plan(), about=about)], Printing())
    read = [
        code.text for n in range(pages(pdf)) for code in zxingcpp.read_barcodes(picture(pdf, n))
    ]
    assert read == [address]


def test_markup_in_a_name_is_printed_as_it_was_typed() -> None:
    found = texts_of(pdf_of([named("<b>Ilo</b> #strong[x] $1$ \\ & 'Sons'")], Printing()))["pdfium"]
    assert "<b>Ilo</b> #strong[x] $1$ \\ & 'Sons'" in " ".join(found.split())


def test_a_very_long_name_is_printed_whole() -> None:
    name = " ".join(["Maximiliana"] * 25)
    pdf = pdf_of([named(name)], Printing())
    assert texts_of(pdf)["pdfium"].count("Maximiliana") >= 25
    assert ua_problems(pdf) == []


def test_a_name_without_a_blank_stays_on_the_sheet() -> None:
    pdf = pdf_of([named("W" * 300)], Printing())
    assert cut_off(pdf) == []
    assert texts_of(pdf)["pdfium"].count("W") >= 300


def test_a_name_from_right_to_left_keeps_to_itself() -> None:
    letter = named("ليلى مراد")
    found = texts_of(pdf_of([letter], Printing()))["pdfium"]
    assert share_found("ليلى مراد", found) == 1
    assert "R-0042" in found


@pytest.mark.parametrize("name", ["李小龙", "Ilo \U0001f600"])
def test_a_name_that_no_font_can_print_is_refused(name: str) -> None:
    with pytest.raises(LetterError) as refused:
        pdf_of([named(name)], Printing())
    assert refused.value.where == "letter of child R-0042"
    assert "could not be displayed" in refused.value.what
    assert "letters/fonts" in refused.value.do


def test_a_clinic_s_own_font_prints_what_ours_cannot(tmp_path: Path) -> None:
    assert pdf_of([family(whole_plan())], Printing(fonts=tmp_path / "not there"))


def test_a_child_is_not_mistaken_for_another() -> None:
    letter = family(replace(whole_plan(), child=Child("Z-9", "Oro", CHILD.date_of_birth)))
    assert "Z-9" in texts_of(pdf_of([letter], Printing()))["pdfium"]
