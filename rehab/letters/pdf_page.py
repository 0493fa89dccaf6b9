"""Letters as PDF, tagged for screen readers (ISO 14289-1): the same letters give the same bytes."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from functools import cache
from pathlib import Path
from typing import Any, Literal

import typst

from rehab.errors import LetterError
from rehab.letters.letter import WITHOUT_NUMBER, Letter, Words
from rehab.settings import Paper
from rehab.shipped_files import shipped

STANDARD: Literal["ua-1"] = "ua-1"
USUAL_POINTS = 12.0
LARGE_POINTS = 18.0
LATIN = "Noto Sans"
SCRIPTS = {
    "ar": "Noto Naskh Arabic",
    "ur": "Noto Naskh Arabic",
    "hi": "Noto Sans Devanagari",
    "bn": "Hind Siliguri",
    "ta": "Noto Sans Tamil",
}
FONTS = (LATIN, *dict.fromkeys(SCRIPTS.values()), "Noto Sans Symbols2")


@dataclass(frozen=True, slots=True)
class Printing:
    """How letters are set: the size of paper, large print, and each on a sheet of its own."""

    paper: Paper = Paper.A4
    large_print: bool = False
    fonts: Path | None = None


def pdf_of(letters: Sequence[Letter], how: Printing) -> bytes:
    """One file with all `letters`, each beginning on a new sheet.

    Raises LetterError for a letter with a character that no font here can print.
    """
    try:
        return set_on_paper(content_of(letters, how), letters[0].facts.today, how.fonts)
    except typst.TypstError as error:
        raise LetterError(
            f"it cannot be printed: {error.message}.",
            where="letter of child " + ", ".join(each.facts.child.number for each in letters),
            do="Put a font that has these letters into the folder letters/fonts of the clinic's "
            "folder, or print the letter as HTML from a browser.",
        ) from error


def content_of(letters: Sequence[Letter], how: Printing) -> str:
    """What the layout receives, as JSON."""
    first = letters[0]
    data = {
        "title": first.words[0].title if len(letters) == 1 else first.facts.clinic.name,
        "author": first.facts.clinic.name,
        "paper": "us-letter" if how.paper is Paper.LETTER else "a4",
        "letters": [part for letter in letters for part in _parts(letter, how)],
    }
    return json.dumps(data, ensure_ascii=False)


def set_on_paper(content: str, on: date, fonts: Path | None) -> bytes:
    """The layout's PDF of `content`; raises TypstError."""
    made = typst.compile(
        shipped("templates") / "letters" / "layout.typ",
        format="pdf",
        sys_inputs={"data": content},
        pdf_standards=STANDARD,
        font_paths=_fonts(fonts),
        root=shipped("templates"),
        timestamp=datetime.combine(on, time(), UTC),
    )
    return bytes(made)


def _parts(letter: Letter, how: Printing) -> list[dict[str, Any]]:
    return [_part(letter, words, how, new=n == 0) for n, words in enumerate(letter.words)]


def _part(letter: Letter, words: Words, how: Printing, *, new: bool) -> dict[str, Any]:
    code = words.language.code
    return {
        "lang": code,
        "size": LARGE_POINTS if how.large_print else USUAL_POINTS,
        "fonts": [LATIN, *([SCRIPTS[code]] if code in SCRIPTS else []), *FONTS],
        "notice": [{"lang": lang, "text": text} for lang, text in words.notices],
        "footer": "" if letter.kind in WITHOUT_NUMBER else letter.facts.child.number,
        "new-sheet": new,
        "tree": words.tree,
    }


@cache
def _fonts(own: Path | None) -> typst.Fonts:
    places = [shipped("templates") / "fonts", *([own] if own and own.is_dir() else [])]
    return typst.Fonts(
        include_system_fonts=False,
        include_embedded_fonts=False,
        font_paths=[str(place) for place in places],
    )
