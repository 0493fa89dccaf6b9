"""Findings as typed, turned into records; a word outside its vocabulary is refused."""

from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from typing import TypeVar

from rehab.care.case import (
    Cataract,
    CheckKind,
    Correction,
    Eye,
    EyeFindings,
    LensStatus,
    VisualAxis,
)
from rehab.errors import MeasureError
from rehab.measures.acuity import parse_acuity
from rehab.measures.eye_size import parse_axial_length, parse_corneal_diameter
from rehab.measures.fixation import Fixation, parse_fixation
from rehab.measures.pressure import parse_pressure
from rehab.measures.refraction import parse_refraction

Found = TypeVar("Found")
Word = TypeVar("Word", bound=StrEnum)

TYPED = (
    "acuity",
    "fixation",
    "pressure",
    "refraction",
    "visual_axis",
    "cataract",
    "lens_status",
    "wears",
    "corneal_diameter",
    "axial_length",
)


def read_findings(eye: Eye, said: Mapping[str, Sequence[str]], test: str) -> EyeFindings:
    """One eye's findings; `said` holds, by the names of TYPED, what was typed for this eye.

    Raises MeasureError for what no notation explains, and for two values where only one can be.
    """

    def one(name: str, read: Callable[[str], Found], nothing: Found) -> Found:
        values = said.get(name, ())
        if len(values) > 1:
            raise MeasureError(
                f"{name.replace('_', ' ')} is given twice: {' and '.join(values)}.",
                do="Give one value for each eye.",
            )
        return read(values[0]) if values else nothing

    worn = one("wears", lambda s: read_word(Correction, s, "the correction"), Correction.UNKNOWN)
    return EyeFindings(
        eye=eye,
        acuities=tuple(
            parse_acuity(value, test=test, correction=worn) for value in said.get("acuity", ())
        ),
        fixation=one("fixation", parse_fixation, Fixation()),
        pressure=one("pressure", lambda s: parse_pressure(s), None),
        refraction=one("refraction", lambda s: parse_refraction(s), None),
        visual_axis=one(
            "visual_axis", lambda s: read_word(VisualAxis, s, "the visual axis"), VisualAxis.UNKNOWN
        ),
        cataract=one("cataract", lambda s: read_word(Cataract, s, "a cataract"), Cataract.UNKNOWN),
        lens_status=one(
            "lens_status", lambda s: read_word(LensStatus, s, "lens status"), LensStatus.UNKNOWN
        ),
        correction=worn,
        corneal_diameter_tenths_mm=one(
            "corneal_diameter", lambda s: parse_corneal_diameter(s), None
        ),
        axial_length_hundredths_mm=one("axial_length", lambda s: parse_axial_length(s), None),
    )


def read_check(said: str) -> CheckKind:
    return read_word(CheckKind, said.replace(" ", "_").replace("-", "_"), "a check")


def read_word(vocabulary: type[Word], said: str, what: str) -> Word:
    """The word of `vocabulary` that was typed; raises MeasureError that lists them."""
    try:
        return vocabulary(said.strip().lower())
    except ValueError:
        known = ", ".join(vocabulary)
        raise MeasureError(f"{said!r} is not a word for {what}.", do=f"Known: {known}.") from None
