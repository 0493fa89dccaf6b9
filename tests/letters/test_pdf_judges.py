"""The judges of a PDF: each is silent on a sound letter and speaks when one thing is spoilt."""

from collections.abc import Callable, Iterator
from functools import cache
from io import BytesIO
from typing import Any

import pikepdf
import pytest
from pikepdf import Dictionary, Name, Pdf

from tests.letters.pdf_judges import (
    fonts_of,
    lost_words,
    missing_glyphs,
    share_found,
    texts_of,
    ua_problems,
    words_of,
)
from tests.letters.test_page_judges import page

PICTURE = (
    "<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'>"
    "<rect width='9' height='9'/></svg>"
)
SOUND = f"""= Letter
Words of the letter, and a #link("https://example.org")[page].
== This week
=== Monday
#table(columns: 2, table.header[Day][Hours], [Monday], [2], [Tuesday], [3])
#image(bytes("{PICTURE}"), format: "svg", alt: "A face")
"""


@cache
def sound() -> bytes:
    return page(SOUND)


def spoilt(spoil: Callable[[Pdf], None]) -> bytes:
    """The sound letter with one fault."""
    out = BytesIO()
    with pikepdf.open(BytesIO(sound())) as opened:
        spoil(opened)
        opened.save(out)
    return out.getvalue()


def objects(opened: Pdf, key: str, name: str) -> Iterator[Any]:
    """The parts of a file that say `name` under `key`, such as every table cell."""
    for part in opened.objects:
        if isinstance(part, Dictionary | pikepdf.Stream) and part.get(key) == Name(name):
            yield part


def renamed(old: str, new: str) -> Callable[[Pdf], None]:
    def spoil(opened: Pdf) -> None:
        for element in objects(opened, "/S", old):
            element.S = Name(new)

    return spoil


def no_title(opened: Pdf) -> None:
    del opened.docinfo["/Title"]
    with opened.open_metadata() as words:
        del words["dc:title"]


def no_language(opened: Pdf) -> None:
    del opened.Root["/Lang"]


def no_tags(opened: Pdf) -> None:
    del opened.Root["/StructTreeRoot"]


def no_description(opened: Pdf) -> None:
    for figure in objects(opened, "/S", "/Figure"):
        del figure["/Alt"]


def empty_heading(opened: Pdf) -> None:
    for heading in objects(opened, "/S", "/H3"):
        del heading["/K"]


def no_text(opened: Pdf) -> None:
    for font in objects(opened, "/Subtype", "/Type0"):
        del font["/ToUnicode"]


def text_without_a_character(opened: Pdf) -> None:
    for font in objects(opened, "/Subtype", "/Type0"):
        font.ToUnicode.write(b"1 beginbfchar <0001> <FEFF> endbfchar")


def not_in_the_file(opened: Pdf) -> None:
    for kind in ("/FontFile2", "/FontFile3"):
        for part in list(opened.objects):
            if isinstance(part, Dictionary) and kind in part:
                del part[kind]


def not_said_to_be_accessible(opened: Pdf) -> None:
    del opened.Root["/Metadata"]


def test_a_sound_letter_has_no_problem() -> None:
    assert ua_problems(sound()) == []
    assert missing_glyphs(sound()) == []
    assert {name.removesuffix("-Bold") for name in fonts_of(sound())} <= {
        "NotoSans",
        "NotoSans-Regular",
    }


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (no_title, "no /Title"),
        (no_language, "no /Lang"),
        (no_tags, "untagged"),
        (no_description, "neither /Alt"),
        (not_said_to_be_accessible, "declare PDF/UA"),
        (renamed("/H2", "/P"), "heading 3 after 1"),
        (renamed("/H1", "/P"), "heading 2 after none"),
        (empty_heading, "an empty heading"),
        (renamed("/TH", "/TD"), "no header cell"),
        (no_text, "are no text"),
        (text_without_a_character, "are no text"),
        (not_in_the_file, "not in the file"),
    ],
)
def test_a_letter_that_a_screen_reader_cannot_use_is_told(
    spoil: Callable[[Pdf], None], said: str
) -> None:
    problems = ua_problems(spoilt(spoil))
    assert any(said in problem for problem in problems), problems


def test_words_outside_every_tag_are_told() -> None:
    def spoil(opened: Pdf) -> None:
        kept = []
        for operands, operator in pikepdf.parse_content_stream(opened.pages[0]):  # type: ignore[misc]
            if str(operator) not in ("BDC", "BMC", "EMC"):
                kept.append((operands, operator))
        opened.pages[0].Contents = opened.make_stream(pikepdf.unparse_content_stream(kept))

    assert any("neither tagged" in problem for problem in ua_problems(spoilt(spoil)))


def test_a_character_without_a_shape_is_told_with_its_page() -> None:
    def spoil(opened: Pdf) -> None:
        changed = []
        for operands, operator in pikepdf.parse_content_stream(opened.pages[0]):  # type: ignore[misc]
            if str(operator) == "Tj":
                operands = [pikepdf.String(b"\x00\x00" + bytes(operands[0])[2:])]
            elif str(operator) == "TJ":
                first = next(part for part in operands[0] if isinstance(part, pikepdf.String))
                operands = [pikepdf.Array([pikepdf.String(b"\x00\x00" + bytes(first)[2:])])]
            changed.append((operands, operator))
        opened.pages[0].Contents = opened.make_stream(pikepdf.unparse_content_stream(changed))

    said = missing_glyphs(spoilt(spoil))
    assert said
    assert all(line.startswith("page 1: ") and "NotoSans" in line for line in said)


def test_every_reader_finds_every_word_and_misses_one_that_is_not_there() -> None:
    words = "Letter Words of the letter, and a page. This week Monday Day Hours Monday 2 Tuesday 3"
    for found in texts_of(sound()).values():
        assert share_found(words, found) == 1
        assert lost_words(f"{words} Wednesday, Monday", found) == ["Monday", "Wednesday"]
        assert share_found(f"{words} Wednesday, Monday", found) == pytest.approx(17 / 19)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Follow-up: 2 hours", ["Follow", "up", "2", "hours"]),
        ("स्वास्थ्य के लिए।", ["स्वास्थ्य", "के", "लिए"]),
        ("ﻋﻴﻦ", ["عين"]),
        ("\u2068Ilo\u2069 \u200f12:30", ["Ilo", "12", "30"]),
        ("க்\u200cஷ", ["க்ஷ"]),
        ("cafe\u0301", ["café"]),
    ],
)
def test_a_word_is_its_letters_marks_and_figures_in_any_script(text: str, words: list[str]) -> None:
    assert sorted(words_of(text).elements()) == sorted(words)
