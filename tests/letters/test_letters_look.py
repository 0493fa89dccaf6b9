"""Letters as they look: nothing cut off or over anything on paper, no rule broken in a browser."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from rehab.letters.html_page import html_of
from rehab.letters.languages import SOURCE, Language, language
from rehab.letters.letter import KINDS, not_reviewed, out_of_date
from rehab.letters.pdf_page import Printing, pdf_of
from tests.letters.browser_judges import Browser, running_browser
from tests.letters.kinds import every_kind, every_language, letter_of
from tests.letters.page_judges import (
    cut_off,
    difference,
    overlaps,
    page_pictures,
    small_picture,
)

PICTURES = Path(__file__).parent / "golden" / "pages"
# Every letter in the source's language, and the family's in each of the other scripts.
KEPT = (
    *((kind, SOURCE) for kind in KINDS),
    *(("family", code) for code in ("ar", "bn", "fr", "hi", "ta")),
)


def pages_of(kind: str, code: str) -> list[Image.Image]:
    drawn = page_pictures(pdf_of([letter_of(kind, code)], Printing()))
    return [small_picture(page) for page in drawn]


def side_by_side(pages: list[Image.Image]) -> Image.Image:
    width = pages[0].width
    row = Image.new("L", (width * len(pages), pages[0].height))
    for n, page in enumerate(pages):
        row.paste(page, (n * width, 0))
    return row


@pytest.mark.parametrize(("kind", "code"), KEPT)
def test_pages_look_as_those_that_were_looked_at(kind: str, code: str) -> None:
    """Where they should not: `python -m tests.write_pages`, and look at what it wrote."""
    pages = pages_of(kind, code)
    with Image.open(PICTURES / f"{kind}-{code}.png") as opened:
        kept = opened.convert("L")
    width, height = pages[0].size
    assert kept.size == (width * len(pages), height)
    for n, page in enumerate(pages):
        found = difference(page, kept.crop((n * width, 0, (n + 1) * width, height)))
        assert found.same, f"page {n + 1}: {found}"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with running_browser() as started:
        yield started


@every_kind
@every_language
@pytest.mark.parametrize("large_print", [False, True], ids=["usual", "large"])
def test_nothing_is_cut_off_and_nothing_lies_over_anything(
    kind: str, code: str, large_print: bool
) -> None:
    pdf = pdf_of([letter_of(kind, code)], Printing(large_print=large_print))
    assert cut_off(pdf) == []
    assert overlaps(pdf) == []


@every_language
@pytest.mark.parametrize("notices", [not_reviewed, out_of_date])
def test_a_notice_has_room_on_each_page(code: str, notices: Callable[[Language], str]) -> None:
    letter = letter_of("appointment", code)
    said = tuple((spoken.code, notices(spoken)) for spoken in (language(code), language(SOURCE)))
    noticed = replace(letter, words=(replace(letter.words[0], notices=said),))
    pdf = pdf_of([noticed], Printing(large_print=True))
    assert cut_off(pdf) == []
    assert overlaps(pdf) == []


@every_kind
@every_language
@pytest.mark.parametrize("large_print", [False, True], ids=["usual", "large"])
def test_a_page_fits_a_narrow_screen(
    browser: Browser, kind: str, code: str, large_print: bool
) -> None:
    assert browser.too_wide(html_of(letter_of(kind, code), large_print=large_print)) == []


@every_kind
@every_language
def test_a_page_breaks_no_rule_of_accessibility(browser: Browser, kind: str, code: str) -> None:
    assert browser.violations(html_of(letter_of(kind, code))) == []


@every_kind
@pytest.mark.parametrize("code", ["en", "ar"])
def test_a_page_breaks_none_in_print_either_way_it_runs(
    browser: Browser, kind: str, code: str
) -> None:
    assert browser.violations(html_of(letter_of(kind, code)), medium="print") == []
