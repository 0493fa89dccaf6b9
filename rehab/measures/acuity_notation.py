"""How acuity is written: each notation read into one scale, or into a grade that is no number."""

import re
from dataclasses import dataclass
from enum import StrEnum
from math import log10, pi, tan

from rehab.errors import MeasureError
from rehab.measures.fixation import Finding, Fixation, parse_fixation
from rehab.measures.typed_text import plain, quoted

BEST_LOGMAR, POOREST_LOGMAR = -0.40, 2.10
BEST_GRATING_LOGMAR, POOREST_GRATING_LOGMAR = -0.40, 2.50
STANDARD_LINE_TOLERANCE = 0.006
ETDRS_LETTERS_AT_ZERO, VAS_AT_ZERO, LETTERS_PER_LOGMAR = 85, 100, 50
CYCLES_PER_DEGREE_AT_ZERO = 30.0
CM_PER_FOOT = 30.48
FARTHEST_CM = 1000
_DEGREE = tan(pi / 180)

ACCEPTED = (
    'Write for example "6/18", "3/60", "20/40-1", "0.5 decimal", "0.30 logMAR", '
    '"70 letters (ETDRS)", "VAS 85", "6.5 cy/cm at 55 cm", "5.7 cpd", "CF 1m", "HM", "LP", "NLP", '
    '"fixes and follows", "does not fix" or "CSM".'
)


class AcuityKind(StrEnum):
    OPTOTYPE = "optotype"
    GRATING = "grating"
    QUALITATIVE = "qualitative"


class SightLevel(StrEnum):
    """Sight too poor for a chart, poorest first."""

    NO_LIGHT_PERCEPTION = "no light perception"
    LIGHT_PERCEPTION = "light perception"
    HAND_MOVEMENTS = "hand movements"
    COUNTING_FINGERS = "counting fingers"

    @property
    def rank(self) -> int:
        return tuple(SightLevel).index(self)


@dataclass(frozen=True, slots=True)
class Reading:
    """What a notation says; `grade` is None exactly when there is a number."""

    kind: AcuityKind
    logmar: float | None = None
    grade: SightLevel | Fixation | None = None
    letters_adjusted: str = ""
    distance_cm: int | None = None


_NUMBER = r"([0-9]{1,4}(?:[.,][0-9]{1,6})?|[.,][0-9]{1,6})"
_LENGTH = r"([0-9]{1,3}(?:[.,][0-9]{1,2})?) ?(cm|m|ft|feet|')"
_FRACTION = re.compile(rf"{_NUMBER} ?/ ?{_NUMBER} ?(?:\(?([+-]) ?([1-9])\)?)?")
_DECIMAL = re.compile(rf"(?:dec(?:imal)?:? ?{_NUMBER}|{_NUMBER} ?dec(?:imal)?)")
_LOGMAR = re.compile(rf"(?:logmar:? ?([+-]?) ?{_NUMBER}|([+-]?) ?{_NUMBER} ?logmar)")
_LETTERS = re.compile(
    r"(?:(etdrs|vas):? ?([0-9]{1,3})(?: letters)?"
    r"|([0-9]{1,3}) (?:letters ?)?\(?(etdrs|vas)\)?(?: letters)?)"
)
_CYCLES = r"(?:cy|cycles|c)"
_PER_CM = re.compile(
    rf"{_NUMBER} ?(?:{_CYCLES} ?/ ?cm|cpcm|cycles per cm)(?: ?(?:at|@|,)? ?{_LENGTH})?"
)
_PER_DEGREE = re.compile(
    rf"{_NUMBER} ?(?:cpd|{_CYCLES} ?/ ?(?:degree|deg)|cycles per degree)"
    rf"(?: ?(?:at|@|,)? ?{_LENGTH})?"
)
_BARE_NUMBER = re.compile(rf"[+-]?{_NUMBER}")
_BARE_LETTERS = re.compile(r"[0-9]{1,3} ?letters")
# "PL" on its own is perception of light, as charts use it; preferential looking needs its number.
_LEVELS = {
    SightLevel.NO_LIGHT_PERCEPTION: "nlp|npl|no light perception|no perception of light",
    SightLevel.LIGHT_PERCEPTION: "lp|pl|light perception|perception of light",
    SightLevel.HAND_MOVEMENTS: "hm|hand movements?|hand motions?",
    SightLevel.COUNTING_FINGERS: "cf|count(?:ing|s)? fingers|finger counting",
}
_WITH_DISTANCE = (SightLevel.HAND_MOVEMENTS, SightLevel.COUNTING_FINGERS)


def read_notation(text: str, distance_cm: int | None) -> Reading:
    """What `text` says. `distance_cm` is the distance recorded beside it, needed by cycles/cm."""
    _refuse_distance(distance_cm)
    typed = plain(text)
    for read in (_fraction, _decimal, _logmar, _letters, _per_cm, _per_degree, _level, _fixation):
        reading = read(typed, distance_cm)
        if reading is not None:
            return reading
    raise _not_understood(typed, text)


def refusal(what: str, do: str = ACCEPTED) -> MeasureError:
    return MeasureError(what, where="acuity", do=do)


def _not_understood(typed: str, text: str) -> MeasureError:
    if not typed:
        return refusal("Nothing is written.")
    if _BARE_NUMBER.fullmatch(typed):
        return refusal(
            f"{quoted(text)} may be a decimal or a logMAR.",
            do=f'Write "{typed} decimal" or "{typed} logMAR".',
        )
    if _BARE_LETTERS.fullmatch(typed):
        return refusal(
            f"{quoted(text)} may count from 85 (ETDRS) or from 100 (VAS).",
            do=f'Write "{typed} (ETDRS)" or "{typed} (VAS)".',
        )
    return refusal(f"{quoted(text)} is in no notation for acuity that is known here.")


def _value(digits: str) -> float:
    return float(digits.replace(",", "."))


def _first(*groups: str | None) -> str:
    return next(g for g in groups if g is not None)


def _centimetres(digits: str, unit: str) -> int:
    per_unit = {"cm": 1.0, "m": 100.0}.get(unit, CM_PER_FOOT)
    return round(_value(digits) * per_unit)


def _refuse_distance(distance_cm: int | None) -> None:
    if distance_cm is not None and not 1 <= distance_cm <= FARTHEST_CM:
        raise refusal(
            f"A distance of {distance_cm} cm is outside 1 to {FARTHEST_CM} cm.",
            do="Check the distance; it is recorded in centimetres.",
        )


def _one_distance(said: int | None, recorded: int | None) -> int | None:
    _refuse_distance(said)
    if said is not None and recorded is not None and said != recorded:
        raise refusal(
            f"The distance is written as {said} cm and recorded as {recorded} cm.",
            do="Keep the one that is right.",
        )
    return recorded if said is None else said


def standard_line(logmar: float) -> int | None:
    """The standard line in tenths of a logMAR that `logmar` stands for, if any.

    The names of lines are rounded: 20/32 is exactly 0.204 but names the line at 0.2. Without this
    two lines from 20/32 to 20/50 would measure 0.19.
    """
    tenths = round(logmar * 10)
    return tenths if abs(logmar - tenths / 10) < STANDARD_LINE_TOLERANCE else None


def _named(logmar: float) -> float:
    tenths = standard_line(logmar)
    return logmar if tenths is None else tenths / 10


def _optotype(logmar: float, distance_cm: int | None, letters_adjusted: str = "") -> Reading:
    if not BEST_LOGMAR <= logmar <= POOREST_LOGMAR:
        raise refusal(
            f"A logMAR of {logmar:.2f} is outside {BEST_LOGMAR:.2f} to {POOREST_LOGMAR:.2f}.",
            do="Check the number; for an eye that sees no chart write CF, HM, LP or NLP.",
        )
    return Reading(
        AcuityKind.OPTOTYPE,
        logmar,
        letters_adjusted=letters_adjusted,
        distance_cm=distance_cm,
    )


def _fraction(typed: str, distance_cm: int | None) -> Reading | None:
    match = _FRACTION.fullmatch(typed)
    if match is None:
        return None
    distance, line = _value(match[1]), _value(match[2])
    if not distance or not line:
        raise refusal("A fraction with a zero is no acuity.")
    letters = f"{match[3]}{match[4]}" if match[3] else ""
    return _optotype(_named(log10(line / distance)), distance_cm, letters)


def _decimal(typed: str, distance_cm: int | None) -> Reading | None:
    match = _DECIMAL.fullmatch(typed)
    if match is None:
        return None
    decimal = _value(_first(match[1], match[2]))
    if not decimal:
        raise refusal("A decimal acuity of 0 is no measurement.")
    return _optotype(_named(-log10(decimal)), distance_cm)


def _logmar(typed: str, distance_cm: int | None) -> Reading | None:
    match = _LOGMAR.fullmatch(typed)
    if match is None:
        return None
    sign = -1 if "-" in (match[1], match[3]) else 1
    return _optotype(sign * _value(_first(match[2], match[4])), distance_cm)


def _letters(typed: str, distance_cm: int | None) -> Reading | None:
    match = _LETTERS.fullmatch(typed)
    if match is None:
        return None
    score = int(_first(match[2], match[3]))
    if score == 0:
        raise refusal(
            "A score of 0 means that no letter was read.", do="Write CF, HM, LP or NLP instead."
        )
    at_zero = ETDRS_LETTERS_AT_ZERO if "etdrs" in (match[1], match[4]) else VAS_AT_ZERO
    return _optotype((at_zero - score) / LETTERS_PER_LOGMAR, distance_cm)


def _grating(cycles_per_degree: float, distance_cm: int | None) -> Reading:
    if cycles_per_degree:
        logmar = log10(CYCLES_PER_DEGREE_AT_ZERO / cycles_per_degree)
        if BEST_GRATING_LOGMAR <= logmar <= POOREST_GRATING_LOGMAR:
            return Reading(AcuityKind.GRATING, logmar, distance_cm=distance_cm)
    raise refusal(
        f"A grating of {cycles_per_degree:.3g} cycles per degree is outside 0.1 to 75.",
        do="Check the number and the distance.",
    )


def _per_cm(typed: str, recorded_cm: int | None) -> Reading | None:
    match = _PER_CM.fullmatch(typed)
    if match is None:
        return None
    said = _centimetres(match[2], match[3]) if match[2] else None
    distance_cm = _one_distance(said, recorded_cm)
    if distance_cm is None:
        raise refusal(
            "Cycles per centimetre mean nothing without the distance.",
            do='Write for example "6.5 cy/cm at 55 cm".',
        )
    return _grating(_value(match[1]) * distance_cm * _DEGREE, distance_cm)


def _per_degree(typed: str, recorded_cm: int | None) -> Reading | None:
    match = _PER_DEGREE.fullmatch(typed)
    if match is None:
        return None
    said = _centimetres(match[2], match[3]) if match[2] else None
    return _grating(_value(match[1]), _one_distance(said, recorded_cm))


def _level(typed: str, recorded_cm: int | None) -> Reading | None:
    for level, words in _LEVELS.items():
        distance = rf"(?: ?(?:at|@|,)? ?{_LENGTH})?" if level in _WITH_DISTANCE else "()()"
        match = re.fullmatch(rf"(?:{words}){distance}", typed)
        if match is not None:
            said = _centimetres(match[1], match[2]) if match[1] else None
            return Reading(
                AcuityKind.QUALITATIVE,
                grade=level,
                distance_cm=_one_distance(said, recorded_cm),
            )
    return None


def _fixation(typed: str, distance_cm: int | None) -> Reading | None:
    try:
        fixation = parse_fixation(typed)
    except MeasureError:
        return None
    graded = Finding.UNKNOWN not in fixation.findings[:3]
    if not graded and fixation.follows is Finding.UNKNOWN:
        return None
    return Reading(AcuityKind.QUALITATIVE, grade=fixation, distance_cm=distance_cm)
