"""The size of an eye: corneal diameter and axial length, typed in millimetres."""

import re
from decimal import Decimal

from rehab.errors import MeasureError
from rehab.measures.typed_text import plain, quoted

SMALLEST_CORNEA_TENTHS, LARGEST_CORNEA_TENTHS = 50, 160
SHORTEST_EYE_HUNDREDTHS, LONGEST_EYE_HUNDREDTHS = 1200, 3200

_MILLIMETRES = re.compile(r"([0-9]{1,3}(?:[.,][0-9]{1,4})?)(?: ?mm)?")


def parse_corneal_diameter(text: str) -> int:
    """The horizontal corneal diameter written in `text`, in tenths of a millimetre."""
    return _whole_parts(
        text, 10, SMALLEST_CORNEA_TENTHS, LARGEST_CORNEA_TENTHS, "corneal diameter", "9.8"
    )


def parse_axial_length(text: str) -> int:
    """The axial length written in `text`, in hundredths of a millimetre."""
    return _whole_parts(
        text, 100, SHORTEST_EYE_HUNDREDTHS, LONGEST_EYE_HUNDREDTHS, "axial length", "18.25"
    )


def write_corneal_diameter(tenths_mm: int) -> str:
    """The text that `parse_corneal_diameter` reads back as the same diameter."""
    return f"{tenths_mm / 10:.1f} mm"


def write_axial_length(hundredths_mm: int) -> str:
    """The text that `parse_axial_length` reads back as the same length."""
    return f"{hundredths_mm / 100:.2f} mm"


def _whole_parts(text: str, per_mm: int, least: int, most: int, what: str, example: str) -> int:
    do = f'Write millimetres from {least / per_mm:g} to {most / per_mm:g}, for example "{example}".'
    match = _MILLIMETRES.fullmatch(plain(text))
    if match is None:
        raise MeasureError(f"{quoted(text)} is no length in millimetres.", where=what, do=do)
    parts = Decimal(match[1].replace(",", ".")) * per_mm
    if parts != int(parts):
        step = f"{1 / per_mm:g}"
        raise MeasureError(f"{quoted(text)} is finer than {step} mm.", where=what, do=do)
    if not least <= parts <= most:
        raise MeasureError(
            f"{quoted(text)} is outside {least / per_mm:g} to {most / per_mm:g} mm.",
            where=what,
            do=do,
        )
    return int(parts)
