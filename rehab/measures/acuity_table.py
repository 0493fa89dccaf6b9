"""One acuity in every notation it may be written in, with what must be said beside it."""

from collections.abc import Callable, Iterator

from rehab.errors import MeasureError
from rehab.measures.acuity import (
    Acuity,
    AcuityKind,
    ImputationScheme,
    SightLevel,
    as_cycles_per_degree,
    as_decimal,
    as_etdrs_letters,
    as_logmar,
    as_snellen_6m,
    as_snellen_20ft,
    as_vas,
    imputed_logmar,
)
from rehab.measures.fixation import Fixation, write_fixation

_WRITERS: dict[AcuityKind, tuple[tuple[str, Callable[[Acuity], str]], ...]] = {
    AcuityKind.OPTOTYPE: (
        ("6 m", as_snellen_6m),
        ("20 ft", as_snellen_20ft),
        ("decimal", as_decimal),
        ("logMAR", as_logmar),
        ("letters", as_etdrs_letters),
        ("score", as_vas),
    ),
    AcuityKind.GRATING: (("grating", as_cycles_per_degree),),
    AcuityKind.QUALITATIVE: (),
}
_SOURCES = {
    AcuityKind.OPTOTYPE: (
        "logMAR = -log10(decimal); standard lines: Holladay 1997, J Refract Surg 13:388; "
        "letters = 85 - 50 x logMAR: Gregori 2010, Retina; score = 100 - 50 x logMAR: "
        "DICOM PS3.17 RR.2.2"
    ),
    AcuityKind.GRATING: "30 cycles per degree are 0.00 on the grating scale; cycles per degree = "
    "cycles/cm x distance in cm x tan 1 degree: derived",
    AcuityKind.QUALITATIVE: "Schulze-Bonsel 2006, IOVS 47:1236; Lange 2009, Graefes 247:137; "
    "Bach, michaelbach.de/sci/acuity.html; Holladay 1997, J Refract Surg 13:388",
}
_NEVER_LETTERS = (
    "A grating overestimates the letter acuity of an amblyopic eye, so it is not turned into one."
)
_ORDINAL = (
    "It is kept as said. The numbers are for drawing only, by the scheme named: "
    "they differ, and no gain in lines may be counted from them."
)
_GRADE = "A grade of fixation is no acuity on a scale, and is kept as said."


def in_other_notations(acuity: Acuity) -> tuple[tuple[str, str], ...]:
    """Name and text of each notation; where one cannot say it, the reason stands instead."""
    written = tuple((name, _or_reason(write, acuity)) for name, write in _WRITERS[acuity.kind])
    if isinstance(acuity.grade, Fixation):
        return (("fixation", write_fixation(acuity.grade)),)
    if isinstance(acuity.grade, SightLevel):
        return (("level", acuity.grade.value), *_drawn(acuity))
    return written


def _drawn(acuity: Acuity) -> Iterator[tuple[str, str]]:
    for scheme in ImputationScheme:
        logmar = imputed_logmar(acuity, scheme)
        said = "silent" if logmar is None else f"{logmar:.2f} logMAR, for drawing only"
        yield scheme.value, said


def _or_reason(write: Callable[[Acuity], str], acuity: Acuity) -> str:
    try:
        return write(acuity)
    except MeasureError as error:
        return f"not written: {error.what}"


def acuity_cautions(acuity: Acuity) -> tuple[str, ...]:
    if isinstance(acuity.grade, Fixation):
        return (_GRADE,)
    if isinstance(acuity.grade, SightLevel):
        return (_ORDINAL,)
    cautions = []
    if acuity.kind is AcuityKind.GRATING:
        cautions.append(_NEVER_LETTERS)
    if acuity.letters_adjusted:
        cautions.append(f'The letters "{acuity.letters_adjusted}" are kept but not counted.')
    if acuity.test == "crowded pictures":
        cautions.append(
            "Crowded pictures read about 0.10 logMAR better than crowded letters "
            "(Br J Ophthalmol 2017;101:457)."
        )
    return tuple(cautions)


def acuity_source(acuity: Acuity) -> str:
    if isinstance(acuity.grade, Fixation):
        return "common practice, no source"
    return _SOURCES[acuity.kind]
