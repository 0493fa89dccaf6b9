"""The fonts of the letters: free to pass on, one weight each, every letter of a language there."""

import unicodedata
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import typst
from fontTools.pens.areaPen import AreaPen
from fontTools.pens.boundsPen import BoundsPen
from fontTools.ttLib import TTFont

from rehab.letters.pdf_page import FONTS, LATIN, SCRIPTS

FOLDER = Path(__file__).parents[2] / "templates" / "fonts"
FILES = sorted(FOLDER.glob("*.ttf"))
# CLDR 48.2, characters.json of each language: exemplarCharacters, which is what its words need;
# Hindi, Bengali, Arabic and Urdu with marks of their punctuation, Urdu with auxiliary letters.
LETTERS = {
    "en": "abcdefghijklmnopqrstuvwxyz",
    "es": "aábcdeéfghiíjklmnñoópqrstuúüvwxyz",
    "fr": "aàâæbcçdeéèêëfghiîïjklmnoôœpqrstuùûüvwxyÿz",
    "pt": "aáàâãbcçdeéêfghiíjklmnoóòôõpqrstuúvwxyz",
    "sw": "abcdefghijklmnoprstuvwyz",
    "hi": "़ॐंँःअआइईउऊऋऌऍएऐऑओऔकखगघङचछजझञटठडढणतथदधनपफबभमयरलळवशषसहऽािीुूृॅेैॉोौ्।॥",
    "bn": "়৺অআইঈউঊঋৠঌৡএঐওঔংঃঁকখগঘঙচছজঝঞটঠডঢণতৎথদধনপফবভমযরলশষসহঽািীুূৃৄৢৣেৈোৌ্ৗ।॥",
    "ta": "அஆஇஈஉஊஎஏஐஒஓஔஃகஙசஞடணதநபமயரலவழளறனஜஷஸஹாிீுூெேைொோௌ்",
    "ar": "ًٌٍَُِّْٰءأؤإئاآبةتثجحخدذرزسشصضطظعغفقكلمنهويى،؛؟",
    "ur": "ابپتٹثجچحخدڈذرڑزژسشصضطظعغفقکگلمنوہھءیےأآںؤۂۃئ،؛؟۔٫٬",
}
# CLDR 48.2, punctuation of the same languages, and the signs that the letters draw themselves.
MARKS = "‐‑–—,;:!¡?¿.…'‘’\"“”«»()[]/&#†‡′″•±×°\u00a0\u202f\u2066\u2067\u2068\u2069☐☑✓✗☎●○◐◑"
# OpenType 1.9.1, table OS/2, fsType: 0 is "Installable embedding".
INSTALLABLE = 0


@cache
def _font(path: Path) -> Any:
    return TTFont(path)


def _family(path: Path) -> str:
    return str(_font(path)["name"].getBestFamilyName())


def _covered(family: str) -> set[str]:
    maps = [_font(path).getBestCmap() for path in FILES if _family(path) == family]
    return set(map(chr, set.intersection(*map(set, maps))))


def _drawn(path: Path, sign: str, pen: Any) -> Any:
    font = _font(path)
    font.getGlyphSet()[font.getBestCmap()[ord(sign)]].draw(pen)
    return pen


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_font_is_static_may_be_embedded_and_has_its_licence_beside_it(path: Path) -> None:
    font = _font(path)
    assert "glyf" in font
    assert "fvar" not in font
    assert font["OS/2"].fsType == INSTALLABLE
    assert font["OS/2"].usWeightClass == (700 if path.stem.endswith("-Bold") else 400)
    licence = (FOLDER / "OFL.txt").read_text(encoding="utf-8")
    family = path.stem.partition("-")[0]
    assert f"{family}: {font['name'].getDebugName(0)}" in licence.splitlines()
    assert "SIL OPEN FONT LICENSE Version 1.1" in licence
    assert f"| {family} |" in (FOLDER / "README.md").read_text(encoding="utf-8")


def test_the_printer_finds_the_families_that_letters_ask_for_and_no_other() -> None:
    found = typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FOLDER)]
    )
    assert set(found.families()) == set(FONTS)


@pytest.mark.parametrize("code", LETTERS)
def test_a_font_has_every_letter_of_its_language_in_both_weights(code: str) -> None:
    wanted = set(LETTERS[code] + LETTERS[code].upper() + "0123456789") | set(MARKS)
    wanted |= set(unicodedata.normalize("NFD", LETTERS[code]))
    here = _covered(LATIN) | _covered(SCRIPTS.get(code, LATIN)) | _covered("Noto Sans Symbols2")
    assert not wanted - here


@pytest.mark.parametrize("code", SCRIPTS)
def test_no_letter_of_another_script_is_taken_from_the_latin_font(code: str) -> None:
    """The Latin font comes first in a letter's list, and would split words of the other script."""
    assert not set(LETTERS[code]) & _covered(LATIN)


@pytest.mark.parametrize("path", [p for p in FILES if p.stem.startswith("NotoSans-")])
@pytest.mark.parametrize("blank", [" ", "\u00a0"])
def test_a_blank_has_a_box_that_readers_of_a_pdf_see_and_no_ink(path: Path, blank: str) -> None:
    bounds = _drawn(path, blank, BoundsPen(None)).bounds
    assert bounds is not None
    assert bounds[2] - bounds[0] == _font(path)["hmtx"][_font(path).getBestCmap()[ord(blank)]][0]
    assert bounds[1] > 0, "an underline, which lies below, would be broken"
    assert _drawn(path, blank, AreaPen(None)).value == 0
