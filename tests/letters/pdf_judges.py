"""Independent readers of a printed letter: what they say of its tags, its glyphs and its words."""

import json
import os
import re
import shutil
import subprocess
import tempfile
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from io import BytesIO
from itertools import groupby, pairwise
from pathlib import Path
from typing import Any

import pdfua
import pikepdf
import pypdfium2
from pdfua.rules import RuleRegistry, default_registry

# Its rule on empty headings raises with pikepdf 10; headings are judged here, also their order.
TRUSTED = RuleRegistry([rule for rule in default_registry() if rule.id != "UA-14-001"])
HEADINGS = tuple(f"/H{level}" for level in range(1, 7))
SHOWS_TEXT = ("Tj", "TJ", "'", '"')
# ISO 14289-1, 7.21.7: characters that a font may not give as its text.
NO_TEXT = ("", "\x00", "\ufeff", "\ufffe", "\ufffd")
# Marks that steer the joining of what stands beside them say nothing. A reader that turns a line
# around puts marks of direction where one run ends and the next begins, in place of a blank.
STEERING: dict[int, str | None] = {
    **dict.fromkeys((0x200B, 0x200C, 0x200D, 0xAD, 0xFEFF)),
    **dict.fromkeys([0x61C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A)], " "),
}

# Letters with their marks are one sort of word, figures another.
WORDS = {"L": "letters", "M": "letters", "N": "figures"}


def ua_problems(pdf: bytes) -> list[str]:
    """What stands in the way of ISO 14289-1, as far as the checker and these few pages can see."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "letter.pdf"
        path.write_bytes(pdf)
        report = pdfua.validate(str(path), registry=TRUSTED)
    found = [f"{f.rule_id} {f.location.describe()}: {f.message}" for f in report.findings]
    skipped = [f"{o.rule_id}: {o.skipped_reason}" for o in report.outcomes if o.skipped_reason]
    with pikepdf.open(BytesIO(pdf)) as opened:
        return found + skipped + _heading_problems(opened) + _font_problems(_fonts(pdf))


def second_opinion(pdfs: list[Path]) -> dict[str, list[str]]:
    """What a larger checker says of files, where it is installed: REHAB_TEST_OUTLOUD, or PATH.

    It runs on its own, since the library that it asks for by default has a licence that the
    project cannot carry; it needs that library for none of the rules of the standard.
    """
    program = os.environ.get("REHAB_TEST_OUTLOUD") or shutil.which("outloud")
    if not program:
        raise FileNotFoundError("outloud is not installed; name it in REHAB_TEST_OUTLOUD.")
    asked = [program, "--quiet", "--fail-on", "never", "--json", "-", *map(str, pdfs)]
    said = subprocess.run(asked, capture_output=True, check=True, text=True).stdout
    return {
        result["path"]: [f"{f['severity']} {f['rule']}: {f['message']}" for f in result["findings"]]
        for result in json.loads(said[said.index("{") :])["results"]
    }


def _elements(node: Any) -> Iterator[pikepdf.Dictionary]:
    """Every element of the tree of tags, in the order in which it is read out."""
    kids = node.get("/K", [])
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
            yield kid
            yield from _elements(kid)


def _heading_problems(opened: pikepdf.Pdf) -> list[str]:
    root = opened.Root.get("/StructTreeRoot")
    headings = [e for e in _elements(root) if e.S in HEADINGS] if root is not None else []
    levels = [0, *(HEADINGS.index(str(heading.S)) + 1 for heading in headings)]
    skipped = [f"heading {b} after {a or 'none'}" for a, b in pairwise(levels) if b > a + 1]
    return skipped + ["an empty heading" for heading in headings if "/K" not in heading]


@dataclass(slots=True)
class _Font:
    name: str
    embedded: bool
    judged: bool
    texts: dict[int, str]
    glyphs: bytes | None
    drawn: Counter[tuple[int, int]] = field(default_factory=Counter)

    def glyph(self, code: int) -> int:
        if self.glyphs is None:
            return code
        return int.from_bytes(self.glyphs[2 * code : 2 * code + 2], "big")


def missing_glyphs(pdf: bytes) -> list[str]:
    """Where a font had no shape for a character and drew its stand-in, usually an empty box."""
    return [
        f"page {page}: {count} without a shape in {font.name}"
        for font in _fonts(pdf)
        if font.judged
        for (page, code), count in font.drawn.items()
        if font.glyph(code) == 0
    ]


def fonts_of(pdf: bytes) -> set[str]:
    """The names of the fonts that draw a character, without the mark of a part of a font."""
    return {re.sub(r"^[A-Z]{6}\+|-Identity-H$", "", f.name) for f in _fonts(pdf) if f.drawn}


def _font_problems(fonts: Iterable[_Font]) -> list[str]:
    problems = []
    for font in fonts:
        mute = sorted({code for _, code in font.drawn if font.texts.get(code, "") in NO_TEXT})
        if not font.judged:
            problems.append(f"{font.name}: of a kind that is not judged here")
        elif not font.embedded:
            problems.append(f"{font.name}: not in the file")
        elif mute:
            problems.append(f"{font.name}: shapes {mute[:8]} are no text")
    return problems


@lru_cache(maxsize=1)
def _fonts(pdf: bytes) -> tuple[_Font, ...]:
    """Every font that draws, and what it draws on which page."""
    fonts: dict[Any, _Font] = {}
    with pikepdf.open(BytesIO(pdf)) as opened:
        for number, page in enumerate(opened.pages, start=1):
            _draw(page.obj, page.resources, number, fonts)
    return tuple(fonts.values())


def _draw(stream: Any, resources: Any, page: int, fonts: dict[Any, _Font]) -> None:
    font: _Font | None = None
    kept: list[_Font | None] = []
    for operands, operator in pikepdf.parse_content_stream(stream):  # type: ignore[misc]
        match str(operator):
            case "q":
                kept.append(font)
            case "Q":
                font = kept.pop() if kept else None
            case "Tf":
                found = resources.Font[str(operands[0])]
                font = fonts.setdefault(found.objgen, _font(found))
            case "Do":
                drawn = resources.XObject[str(operands[0])]
                if drawn.Subtype == "/Form":
                    _draw(drawn, drawn.get("/Resources", resources), page, fonts)
            case shows if shows in SHOWS_TEXT and font is not None:
                parts = operands[-1] if shows == "TJ" else [operands[-1]]
                for part in parts:
                    if isinstance(part, pikepdf.String):
                        codes = bytes(part)
                        pairs = (codes[n : n + 2] for n in range(0, len(codes), 2))
                        font.drawn.update((page, int.from_bytes(pair, "big")) for pair in pairs)


def _font(found: Any) -> _Font:
    judged = found.Subtype == "/Type0" and found.get("/Encoding") == "/Identity-H"
    name = str(found.get("/BaseFont", found.get("/Name", "a font")))[1:]
    if not judged:
        return _Font(name, False, False, {}, None)
    inner = found.DescendantFonts[0]
    shapes = inner.get("/CIDToGIDMap")
    return _Font(
        name,
        any(key in inner.FontDescriptor for key in ("/FontFile", "/FontFile2", "/FontFile3")),
        True,
        _texts(found.ToUnicode.read_bytes().decode("latin-1")) if "/ToUnicode" in found else {},
        shapes.read_bytes() if isinstance(shapes, pikepdf.Stream) else None,
    )


def _texts(cmap: str) -> dict[int, str]:
    """What each code of a font says: its ToUnicode map (ISO 32000-1, 9.10.3)."""
    texts = {}
    for block in re.findall(r"beginbfchar(.*?)endbfchar", cmap, re.DOTALL):
        for code, text in re.findall(r"<(\w+)>\s*<(\w*)>", block):
            texts[int(code, 16)] = _utf16(text)
    for block in re.findall(r"beginbfrange(.*?)endbfrange", cmap, re.DOTALL):
        for low, high, to in re.findall(r"<(\w+)>\s*<(\w+)>\s*(<\w+>|\[[^]]*\])", block):
            first, last = int(low, 16), int(high, 16)
            listed = [_utf16(text) for text in re.findall(r"<(\w*)>", to)]
            for n, code in enumerate(range(first, last + 1)):
                if to.startswith("["):
                    texts[code] = listed[n] if n < len(listed) else ""
                else:
                    texts[code] = listed[0][:-1] + chr(ord(listed[0][-1]) + n)
    return texts


def _utf16(digits: str) -> str:
    return bytes.fromhex(digits).decode("utf-16-be", errors="replace")


def texts_of(pdf: bytes) -> dict[str, str]:
    """What is copied out of a PDF by each reader that is there; the first always is."""
    with pypdfium2.PdfDocument(pdf) as opened:
        pages = [page.get_textpage().get_text_range() for page in opened]
    texts = {"pdfium": "\n".join(pages)}
    if shutil.which("pdftotext"):
        asked = ["pdftotext", "-q", "-enc", "UTF-8", "-", "-"]
        said = subprocess.run(asked, input=pdf, capture_output=True, check=True)
        texts["poppler"] = said.stdout.decode()
    return texts


def words_of(text: str) -> Counter[str]:
    """The words of a text in any script: runs of letters, their marks and digits.

    Compatibility forms, such as an Arabic letter's shape at a word's end, count as the letter; what
    only steers joining or direction is left out. A figure and its unit are two words, since a
    reader may take the blank in "3 h" for a wide letter's.
    """
    plain = unicodedata.normalize("NFKC", text).translate(STEERING)
    runs = groupby(plain, key=lambda c: WORDS.get(unicodedata.category(c)[0]))
    return Counter("".join(run) for is_word, run in runs if is_word)


def share_found(expected: str, found: str) -> float:
    """The share of the words of `expected` that `found` has as often."""
    wanted = words_of(expected)
    return (wanted & words_of(found)).total() / wanted.total()


def lost_words(expected: str, found: str) -> list[str]:
    """The words that `found` does not have as often, for whoever must look for them."""
    return sorted((words_of(expected) - words_of(found)).elements())
