"""What a printed page looks like: what is cut off, what lies over what, and whether it has changed.

Pages are drawn by a renderer that is not the one that made them.
"""

import unicodedata
from collections.abc import Iterator
from ctypes import byref, c_int
from dataclasses import dataclass, replace
from itertools import groupby, takewhile
from typing import Any

import pypdfium2
import pypdfium2.raw
from PIL import Image, ImageChops, ImageStat

MM = 72 / 25.4
# What office printers cannot print at a sheet's edge: common practice, no source.
UNPRINTABLE_MM = 5.0
AROUND_MM = 100.0
DPI = 96
SMALL_DPI = 24
WHITE = 250
# Of the smaller of two words. Marks of one line reach into the next, but only just.
OVERLAP = 0.2
# Of a word's height, from either side: below it an underline, above it a cell's edge may touch.
EDGE = 0.25
# Of a word's height: a letter so low is a mark over another one, drawn apart.
MARK = 0.4
# Of a word's height: what stands further off is not the next letter, whatever the reader says.
GAP = 0.3


@dataclass(frozen=True, slots=True)
class Box:
    """Left, bottom, right and top in points, and what stands there."""

    left: float
    bottom: float
    right: float
    top: float
    text: str = ""

    @property
    def height(self) -> float:
        return self.top - self.bottom

    @property
    def area(self) -> float:
        return max(0.0, self.right - self.left) * max(0.0, self.top - self.bottom)

    def joined(self, other: "Box") -> "Box":
        return Box(
            min(self.left, other.left),
            min(self.bottom, other.bottom),
            max(self.right, other.right),
            max(self.top, other.top),
            self.text + other.text,
        )

    def shared(self, other: "Box") -> float:
        """The share of the smaller one that both cover."""
        both = Box(
            max(self.left, other.left),
            max(self.bottom, other.bottom),
            min(self.right, other.right),
            min(self.top, other.top),
        )
        smaller = min(self.area, other.area)
        return both.area / smaller if smaller else 0.0


def page_pictures(pdf: bytes, dpi: int = DPI) -> list[Image.Image]:
    """Each page in grey."""
    with pypdfium2.PdfDocument(pdf) as opened:
        return [_picture(page, dpi) for page in opened]


def cut_off(pdf: bytes, margin_mm: float = UNPRINTABLE_MM) -> list[str]:
    """Ink off the sheet or where no printer reaches, and text that is there but not to be seen."""
    problems = []
    with pypdfium2.PdfDocument(pdf) as opened:
        for number, page in enumerate(opened, start=1):
            hidden = _without_ink(page)
            if hidden:
                problems.append(f"page {number}: not to be seen: {' '.join(hidden[:8])}")
            if _ink_outside(page, margin_mm):
                problems.append(f"page {number}: ink within {margin_mm} mm of the edge or off it")
    return problems


def overlaps(pdf: bytes) -> list[str]:
    """Words that lie over each other, and words that a straight line runs through."""
    problems = []
    with pypdfium2.PdfDocument(pdf) as opened:
        for number, page in enumerate(opened, start=1):
            words = list(_words(page))
            # A full stop is set close to its letter, and may be read apart from it.
            said = [word for word in words if any(map(str.isalnum, word.text))]
            over = [
                f"{a.text!r} over {b.text!r}" for a, b in _meeting(said) if a.shared(b) > OVERLAP
            ]
            problems += [f"page {number}: {pair}" for pair in over]
            lines = list(_lines(page))
            struck = [word for word in words if any(_runs_through(line, word) for line in lines)]
            problems += [f"page {number}: a line through {word.text!r}" for word in struck]
    return problems


@dataclass(frozen=True, slots=True)
class Difference:
    """In levels of grey of 255: over a page, and in the square where it is largest."""

    mean: float
    largest: float

    @property
    def same(self) -> bool:
        """To the eye of whoever lays one page over the other."""
        return self.mean < MEAN and self.largest < LARGEST


# Finer smoothing moves no square by more than 11, a box moved by 1 mm moves one by 14. One figure
# in the place of another may move none by more than 2: that is for whoever reads the words.
MEAN = 0.5
LARGEST = 13
SQUARE = 6


def small_picture(picture: Image.Image) -> Image.Image:
    """What is kept of a page to compare it with later: enough to see a moved box or a figure."""
    return picture.reduce(DPI // SMALL_DPI)


def difference(small: Image.Image, kept: Image.Image) -> Difference:
    """How far a page is from the one that was kept; another size of paper is another page."""
    if small.size != kept.size:
        return Difference(255, 255)
    apart = ImageChops.difference(small, kept)
    return Difference(ImageStat.Stat(apart).mean[0], _range(apart.reduce(SQUARE))[1])


def _range(grey: Image.Image) -> tuple[int, int]:
    """The darkest and the lightest level."""
    levels = [level for level, count in enumerate(grey.histogram()) if count]
    return levels[0], levels[-1]


def _picture(page: Any, dpi: int) -> Image.Image:
    drawn: Image.Image = page.render(scale=dpi / 72, grayscale=True).to_pil()
    return drawn.convert("L")


def _ink_outside(page: Any, margin_mm: float) -> bool:
    """Drawn on a larger sheet, so that what hangs over the edge shows."""
    left, bottom, right, top = page.get_mediabox()
    around = AROUND_MM * MM
    for set_box in (page.set_mediabox, page.set_cropbox):
        set_box(left - around, bottom - around, right + around, top + around)
    drawn = _picture(page, DPI)
    for set_box in (page.set_mediabox, page.set_cropbox):
        set_box(left, bottom, right, top)
    inset = round((AROUND_MM + margin_mm) * MM * DPI / 72)
    drawn.paste(255, (inset, inset, drawn.width - inset, drawn.height - inset))
    return _range(drawn)[0] < WHITE


def _without_ink(page: Any) -> list[str]:
    """The characters whose place on the picture is of one colour."""
    drawn, scale, height = _picture(page, DPI), DPI / 72, page.get_height()
    hidden = []
    for box in _characters(page):
        if unicodedata.category(box.text)[0] not in "LN":
            continue
        area = (
            int(box.left * scale) - 1,
            int((height - box.top) * scale) - 1,
            int(box.right * scale) + 2,
            int((height - box.bottom) * scale) + 2,
        )
        low, high = _range(drawn.crop(area))
        if box.area and high - low < 16:
            hidden.append(box.text)
    return hidden


def _characters(page: Any) -> Iterator[Box]:
    text = page.get_textpage()
    for n in range(text.count_chars()):
        left, bottom, right, top = text.get_charbox(n)
        character = chr(pypdfium2.raw.FPDFText_GetUnicode(text, n))
        yield Box(left, bottom, right, top, character)


def _words(page: Any) -> Iterator[Box]:
    """Runs of characters that stand beside each other, whichever way they run."""
    word: Box | None = None
    for place, group in groupby(_characters(page), key=lambda box: replace(box, text="")):
        text = "".join(box.text for box in group)
        # A mark stands over its letter; one that is drawn apart says the letter once more.
        if any(unicodedata.category(c) in ("Mn", "Mc", "Me", "Cf") for c in text):
            continue
        box = replace(place, text=text)
        if word and text.isalpha() and box.height < MARK * word.height and box.left < word.right:
            continue
        blank = not box.area or box.text.isspace()
        if word and (blank or not _beside(word, box)):
            yield word
            word = None
        if not blank:
            word = word.joined(box) if word else box
    if word:
        yield word


def _meeting(words: list[Box]) -> Iterator[tuple[Box, Box]]:
    """The pairs that share some height, from the foot of the page upwards."""
    upwards = sorted(words, key=lambda word: word.bottom)
    for n, lower in enumerate(upwards):
        above = takewhile(lambda word: word.bottom < lower.top, upwards[n + 1 :])  # noqa: B023
        yield from ((lower, word) for word in above)


def _beside(word: Box, box: Box) -> bool:
    gap = max(word.left, box.left) - min(word.right, box.right)
    within = box.left > word.left and box.right < word.right
    tall = max(word.top - word.bottom, box.top - box.bottom)
    on_line = min(word.top, box.top) > max(word.bottom, box.bottom) - tall / 2
    return on_line and gap < GAP * tall and not within


def _lines(page: Any) -> Iterator[Box]:
    """The sides of what is drawn with a few straight strokes: rules, boxes, cells."""
    raw = pypdfium2.raw
    for path in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH], max_depth=1):
        count = raw.FPDFPath_CountSegments(path)
        kinds = {
            raw.FPDFPathSegment_GetType(raw.FPDFPath_GetPathSegment(path, n)) for n in range(count)
        }
        if count > 6 or raw.FPDF_SEGMENT_BEZIERTO in kinds:
            continue
        left, bottom, right, top = path.get_bounds()
        if min(right - left, top - bottom) < 3:
            yield Box(left, bottom, right, top)
        elif _stroked(path):
            yield Box(left, bottom, right, bottom)
            yield Box(left, top, right, top)
            yield Box(left, bottom, left, top)
            yield Box(right, bottom, right, top)


def _stroked(path: Any) -> bool:
    fill, stroke = c_int(), c_int()
    pypdfium2.raw.FPDFPath_GetDrawMode(path, byref(fill), byref(stroke))
    return bool(stroke.value)


def _runs_through(line: Box, word: Box) -> bool:
    """Through the middle of a word, where neither an underline nor a cell's edge may be."""
    edge = EDGE * (word.top - word.bottom)
    side = min(edge, EDGE * (word.right - word.left))
    return (
        line.left < word.right - side
        and line.right > word.left + side
        and line.bottom < word.top - edge
        and line.top > word.bottom + edge
    )
