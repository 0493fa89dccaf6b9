"""Acuity: one eye's result as it was written, and on one scale where that is honest."""

from dataclasses import dataclass
from enum import StrEnum

from rehab.measures.acuity_notation import (
    CYCLES_PER_DEGREE_AT_ZERO,
    ETDRS_LETTERS_AT_ZERO,
    LETTERS_PER_LOGMAR,
    VAS_AT_ZERO,
    read_notation,
    refusal,
    standard_line,
)
from rehab.measures.acuity_notation import AcuityKind as AcuityKind
from rehab.measures.acuity_notation import SightLevel as SightLevel
from rehab.measures.fixation import Fixation
from rehab.measures.typed_text import plain, quoted


@dataclass(frozen=True, slots=True)
class Acuity:
    """`logmar` is None, and `grade` is not, exactly when the result is qualitative.

    `letters_adjusted` keeps letters missed or gained ("-2") as a word: a suffix has no agreed
    value, because lines differ in their number of letters.
    """

    written: str
    kind: AcuityKind
    logmar: float | None
    grade: SightLevel | Fixation | None = None
    letters_adjusted: str = ""
    test: str = "unknown"
    distance_cm: int | None = None
    correction: str = "unknown"

    @property
    def logmar_hundredths(self) -> int | None:
        return None if self.logmar is None else round(self.logmar * 100)


def parse_acuity(
    text: str, *, test: str = "unknown", distance_cm: int | None = None, correction: str = "unknown"
) -> Acuity:
    """The acuity written in `text`; the record keeps the text itself, trimmed."""
    reading = read_notation(text, distance_cm)
    return Acuity(
        text.strip(),
        reading.kind,
        reading.logmar,
        reading.grade,
        reading.letters_adjusted,
        plain(test) or "unknown",
        reading.distance_cm,
        plain(correction) or "unknown",
    )


def rank(acuity: Acuity) -> int | None:
    """No light perception 0, light perception 1, hand movements 2, counting fingers 3.

    None for a measured acuity and for a grade of fixation, which are not on this ladder.
    """
    return acuity.grade.rank if isinstance(acuity.grade, SightLevel) else None


# What the standard lines are called in 6 m, 20 ft and decimals, by tenths of a logMAR. Lines -3 to
# 10 agree with Holladay 1997 (J Refract Surg 13:388); the rest follow by factors of ten.
_LINE_NAMES = {
    -3: ("6/3", "20/10", "2"),
    -2: ("6/3.8", "20/12.5", "1.6"),
    -1: ("6/4.8", "20/16", "1.25"),
    0: ("6/6", "20/20", "1"),
    1: ("6/7.5", "20/25", "0.8"),
    2: ("6/9.5", "20/32", "0.63"),
    3: ("6/12", "20/40", "0.5"),
    4: ("6/15", "20/50", "0.4"),
    5: ("6/19", "20/63", "0.32"),
    6: ("6/24", "20/80", "0.25"),
    7: ("6/30", "20/100", "0.2"),
    8: ("6/38", "20/125", "0.16"),
    9: ("6/48", "20/160", "0.125"),
    10: ("6/60", "20/200", "0.1"),
    11: ("6/75", "20/250", "0.08"),
    12: ("6/95", "20/320", "0.063"),
    13: ("6/120", "20/400", "0.05"),
    14: ("6/150", "20/500", "0.04"),
    15: ("6/190", "20/630", "0.032"),
    16: ("6/240", "20/800", "0.025"),
    17: ("6/300", "20/1000", "0.02"),
    18: ("6/380", "20/1250", "0.016"),
    19: ("6/480", "20/1600", "0.0125"),
    20: ("6/600", "20/2000", "0.01"),
}


def as_snellen_6m(acuity: Acuity) -> str:
    logmar = _optotype_logmar(acuity, "a Snellen fraction")
    line = _standard_names(logmar)
    return line[0] if line else f"6/{_three_digits(6 * 10**logmar)}"


def as_snellen_20ft(acuity: Acuity) -> str:
    logmar = _optotype_logmar(acuity, "a Snellen fraction")
    line = _standard_names(logmar)
    return line[1] if line else f"20/{_three_digits(20 * 10**logmar)}"


def as_decimal(acuity: Acuity) -> str:
    logmar = _optotype_logmar(acuity, "a decimal")
    line = _standard_names(logmar)
    return f"{line[2] if line else _three_digits(10**-logmar)} decimal"


def as_logmar(acuity: Acuity) -> str:
    # Adding zero turns -0.0 into 0.0.
    return f"{round(_optotype_logmar(acuity, 'logMAR'), 2) + 0.0:.2f} logMAR"


def as_etdrs_letters(acuity: Acuity) -> str:
    """85 letters at 0.00 logMAR, 50 to a logMAR (Gregori 2010, Retina)."""
    return f"{_letters(acuity, ETDRS_LETTERS_AT_ZERO)} letters (ETDRS)"


def as_vas(acuity: Acuity) -> str:
    """The visual acuity score: 100 at 0.00 logMAR, 50 to a logMAR (DICOM PS3.17 RR.2.2)."""
    return f"VAS {_letters(acuity, VAS_AT_ZERO)}"


def as_cycles_per_degree(acuity: Acuity) -> str:
    """A grating only: a grating's number and a letter's of one size are different results."""
    if acuity.kind is not AcuityKind.GRATING or acuity.logmar is None:
        raise refusal(
            f"{quoted(acuity.written)} is no grating, so it has no cycles per degree.",
            do="Show it as it was written.",
        )
    return f"{_three_digits(CYCLES_PER_DEGREE_AT_ZERO / 10**acuity.logmar)} cpd"


def _optotype_logmar(acuity: Acuity, notation: str) -> float:
    if acuity.kind is not AcuityKind.OPTOTYPE or acuity.logmar is None:
        raise refusal(
            f"{quoted(acuity.written)} is {acuity.kind.value} and cannot be written as {notation}.",
            do="Show it as it was written.",
        )
    return acuity.logmar


def _letters(acuity: Acuity, at_zero: int) -> int:
    score = round(at_zero - LETTERS_PER_LOGMAR * _optotype_logmar(acuity, "a letter score"))
    if score < 1:
        raise refusal(
            f"{quoted(acuity.written)} is poorer than a letter score can say.",
            do="Show it as it was written.",
        )
    return score


def _standard_names(logmar: float) -> tuple[str, str, str] | None:
    tenths = standard_line(logmar)
    return None if tenths is None else _LINE_NAMES.get(tenths)


def _three_digits(value: float) -> str:
    return f"{float(f'{value:.3g}'):g}"


class ImputationScheme(StrEnum):
    """Whose number stands in for a qualitative acuity in a drawing; they differ, so name it."""

    SCHULZE_BONSEL_2006 = "schulze-bonsel-2006"
    LANGE_2009 = "lange-2009"
    BACH = "bach"
    HOLLADAY_1997 = "holladay-1997"


# Schulze-Bonsel, Invest Ophthalmol Vis Sci 2006;47:1236; Lange, Graefes 2009;247:137; Bach,
# michaelbach.de/sci/acuity.html; Holladay, J Refract Surg 1997;13:388. A scheme that is silent
# about light perception stays silent.
_IMPUTED = {
    ImputationScheme.SCHULZE_BONSEL_2006: {
        SightLevel.COUNTING_FINGERS: 1.85,
        SightLevel.HAND_MOVEMENTS: 2.30,
    },
    ImputationScheme.LANGE_2009: {
        SightLevel.COUNTING_FINGERS: 1.98,
        SightLevel.HAND_MOVEMENTS: 2.28,
    },
    ImputationScheme.BACH: {
        SightLevel.COUNTING_FINGERS: 1.9,
        SightLevel.HAND_MOVEMENTS: 2.3,
        SightLevel.LIGHT_PERCEPTION: 2.7,
        SightLevel.NO_LIGHT_PERCEPTION: 3.0,
    },
    ImputationScheme.HOLLADAY_1997: {
        SightLevel.COUNTING_FINGERS: 2.00,
        SightLevel.HAND_MOVEMENTS: 3.00,
    },
}


def imputed_logmar(acuity: Acuity, scheme: ImputationScheme) -> float | None:
    """Where to draw `acuity` on a logMAR axis, never a number to calculate with.

    A measured acuity is drawn where it is; None where the scheme says nothing.
    """
    if isinstance(acuity.grade, SightLevel):
        return _IMPUTED[scheme].get(acuity.grade)
    return acuity.logmar
