"""Pressure in the eye: whole millimetres of mercury, and what it was measured with."""

import re
from dataclasses import dataclass

from rehab.errors import MeasureError
from rehab.measures.typed_text import plain, quoted

HIGHEST_MMHG = 80
_READING = re.compile(r"([0-9]{1,4})(?: ?mm ?hg)?(?:[ ,]+([^\W\d_].{0,59}))?")
_EXAMPLES = 'Write a whole number, for example "18" or "18 mmHg rebound tonometer".'


@dataclass(frozen=True, slots=True)
class Pressure:
    pressure_mmhg: int
    instrument: str = "unknown"

    def __post_init__(self) -> None:
        if not 0 <= self.pressure_mmhg <= HIGHEST_MMHG:
            raise MeasureError(
                f"{self.pressure_mmhg} mmHg is outside 0 to {HIGHEST_MMHG} mmHg.",
                where="pressure",
                do="Check the reading and write it again.",
            )


def parse_pressure(text: str) -> Pressure:
    """The pressure written in `text`: a whole number, the unit if you like, the instrument."""
    match = _READING.fullmatch(plain(text))
    if match is None:
        raise MeasureError(
            f"{quoted(text)} is not one whole number of mmHg.", where="pressure", do=_EXAMPLES
        )
    return Pressure(int(match[1]), match[2] or "unknown")


def write_pressure(pressure: Pressure) -> str:
    """The text that `parse_pressure` reads back as the same pressure."""
    return f"{pressure.pressure_mmhg} mmHg {pressure.instrument}"
