"""What may be said when two acuities are put side by side: between dates, or between eyes."""

from dataclasses import dataclass
from enum import StrEnum
from math import log10

from rehab.measures.acuity import Acuity, AcuityKind, SightLevel
from rehab.measures.fixation import Fixation, fixation_change

HUNDREDTHS_PER_LINE = 10
HUNDREDTHS_PER_OCTAVE = 100 * log10(2)


class Verdict(StrEnum):
    BETTER = "better"
    WORSE = "worse"
    WITHIN_NOISE = "within noise"
    NOT_COMPARABLE = "not comparable"


@dataclass(frozen=True, slots=True)
class Change:
    """`hundredths` of a logMAR, negative when better; None where no number may be said."""

    verdict: Verdict
    why: str
    source: str
    hundredths: int | None = None
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Limit:
    """The smallest change that is more than noise, in hundredths of a logMAR."""

    at_least_hundredths: int
    source: str


# "More than 0.18" is 19 hundredths.
_LIMITS = {
    "single crowded letters": Limit(19, "Holmes 2001, Arch Ophthalmol 119:1345"),
    "electronic letters": Limit(20, "Cotter 2003, Am J Ophthalmol 136:655"),
    "symbols": Limit(19, "Chen 2006, Invest Ophthalmol Vis Sci 47:614"),
}
_ANY_OTHER_TEST = Limit(
    20, "assumption: two lines, the widest limit published for a children's chart (Cotter 2003)"
)
# Two cards are an octave, 0.30, but the frequencies printed on cards are rounded: one card apart
# measures up to 0.18 and two cards 0.26 or more, so the cut stands between.
_GRATING = Limit(25, "Mayer 1995, Invest Ophthalmol Vis Sci 36:671: one octave is beyond retest")

# Counting fingers is put at 1.85 logMAR or poorer, retest 0.21 (Lange 2009): a letter acuity better
# than 1.64 is a better sight in every published scheme.
_BEYOND_COUNTING_FINGERS_LOGMAR = 1.64
_LADDER_SOURCE = "Lange 2009, Graefes 247:137, for hand movements and counting fingers"
_NO_SOURCE = "common practice, no source"
_PICTURES, _LETTERS = "crowded pictures", "crowded letters"
_PICTURE_BIAS = (
    "Crowded pictures read about 0.10 logMAR better than crowded letters "
    "(Br J Ophthalmol 2017;101:457): the step between them is not a change of sight."
)
_UNKNOWN_TEST = "The test of one result is unknown; a different test shifts the result."
_OTHER_DISTANCE = "The results were taken at different distances."
_LETTERS_APART = "Letters missed or gained are recorded but not counted."
_GRADE_CAUTION = (
    "A grade of fixation misses much amblyopia and finds some that is not there: confirm with "
    "gratings or letters before a dose is changed."
)


def same_series(a: Acuity, b: Acuity) -> bool:
    """Whether two results may stand on one line of a chart.

    Not across kinds, not across tests that are both known and differ, not with correction against
    without.
    """
    return _apart(a, b) is None


def _apart(a: Acuity, b: Acuity) -> str | None:
    if a.kind is not b.kind:
        return f"A result by {a.kind.value} and one by {b.kind.value} are different measures."
    if "unknown" not in (a.test, b.test) and a.test != b.test:
        bias = f" {_PICTURE_BIAS}" if {a.test, b.test} == {_PICTURES, _LETTERS} else ""
        return f"The tests differ: {a.test} and {b.test}.{bias}"
    return _correction_apart(a, b)


def _correction_apart(a: Acuity, b: Acuity) -> str | None:
    corrections = {a.correction, b.correction}
    if "unknown" not in corrections and "none" in corrections and len(corrections) == 2:
        return "One result is with correction and one without."
    return None


def logmar_difference_hundredths(a: Acuity, b: Acuity) -> int | None:
    """`a` minus `b` as printed, positive when `a` is poorer; None outside one measured series."""
    if a.logmar_hundredths is None or b.logmar_hundredths is None or not same_series(a, b):
        return None
    return a.logmar_hundredths - b.logmar_hundredths


def interocular_lines(right: Acuity, left: Acuity) -> float | None:
    """Lines of 0.1 logMAR between the eyes, positive when the right is poorer; letters only."""
    if right.kind is not AcuityKind.OPTOTYPE:
        return None
    difference = logmar_difference_hundredths(right, left)
    return None if difference is None else difference / HUNDREDTHS_PER_LINE


def interocular_octaves(right: Acuity, left: Acuity) -> float | None:
    """Octaves between the eyes, positive when the right is poorer; gratings only."""
    if right.kind is not AcuityKind.GRATING or not same_series(right, left):
        return None
    if right.logmar is None or left.logmar is None:
        return None
    return (right.logmar - left.logmar) * 100 / HUNDREDTHS_PER_OCTAVE


def judge_change(before: Acuity, after: Acuity) -> Change:
    """Whether sight changed by more than the test's own noise, and who says so."""
    step = _on_ladder(before, after)
    if step is not None:
        return step
    apart = _apart(before, after)
    if apart is not None:
        return Change(Verdict.NOT_COMPARABLE, apart, _NO_SOURCE)
    if isinstance(before.grade, Fixation) and isinstance(after.grade, Fixation):
        return _fixation_graded(before.grade, after.grade)
    difference = logmar_difference_hundredths(after, before)
    if difference is None:
        return Change(
            Verdict.NOT_COMPARABLE, "Fixation and a level of sight are different.", _NO_SOURCE
        )
    return _measured(difference, before, after)


def _measured(difference: int, before: Acuity, after: Acuity) -> Change:
    limit = _limit(before, after)
    cautions = _cautions(before, after)
    size = f"{abs(difference) / 100:.2f} logMAR"
    noise = f"the smallest change that counts here is {limit.at_least_hundredths / 100:.2f}"
    if abs(difference) < limit.at_least_hundredths:
        verdict, why = Verdict.WITHIN_NOISE, f"{size} is within noise; {noise}."
    else:
        verdict = Verdict.WORSE if difference > 0 else Verdict.BETTER
        why = f"{size} {verdict.value}; {noise}."
    return Change(verdict, why, limit.source, difference, cautions)


def _limit(before: Acuity, after: Acuity) -> Limit:
    if before.kind is AcuityKind.GRATING:
        return _GRATING
    # Beside an unknown test the known one lends no limit: the two need not be the same.
    test = before.test if before.test == after.test else "unknown"
    return _LIMITS.get(test, _ANY_OTHER_TEST)


def noise_hundredths(acuity: Acuity) -> int:
    """The smallest change of this test that is more than its noise."""
    return _limit(acuity, acuity).at_least_hundredths


def _cautions(before: Acuity, after: Acuity) -> tuple[str, ...]:
    distances = {before.distance_cm, after.distance_cm} - {None}
    said = (
        ("unknown" in (before.test, after.test), _UNKNOWN_TEST),
        (len(distances) > 1, _OTHER_DISTANCE),
        (bool(before.letters_adjusted or after.letters_adjusted), _LETTERS_APART),
    )
    return tuple(caution for holds, caution in said if holds)


def _on_ladder(before: Acuity, after: Acuity) -> Change | None:
    """Levels of sight in order, with any letters clearly better than all of them on top."""
    then, now = _step(before), _step(after)
    if then is None or now is None or before.kind is after.kind is AcuityKind.OPTOTYPE:
        return None
    if _correction_apart(before, after):
        return None
    if then == now:
        if before.distance_cm != after.distance_cm:
            return Change(Verdict.NOT_COMPARABLE, _OTHER_DISTANCE, _NO_SOURCE)
        return Change(Verdict.WITHIN_NOISE, "The level of sight is the same.", _LADDER_SOURCE)
    verdict = Verdict.BETTER if now > then else Verdict.WORSE
    return Change(verdict, f"{_name(before)}, then {_name(after)}.", _LADDER_SOURCE)


def _step(acuity: Acuity) -> int | None:
    if isinstance(acuity.grade, SightLevel):
        return acuity.grade.rank
    if acuity.kind is AcuityKind.OPTOTYPE and acuity.logmar is not None:
        return len(SightLevel) if acuity.logmar < _BEYOND_COUNTING_FINGERS_LOGMAR else None
    return None


def _name(acuity: Acuity) -> str:
    return acuity.grade.value if isinstance(acuity.grade, SightLevel) else acuity.written


def _fixation_graded(before: Fixation, after: Fixation) -> Change:
    step = fixation_change(before, after)
    if step is None:
        why = "Not every aspect of fixation was looked at twice, or they disagree."
        return Change(Verdict.NOT_COMPARABLE, why, _NO_SOURCE)
    verdict = {1: Verdict.BETTER, 0: Verdict.WITHIN_NOISE, -1: Verdict.WORSE}[step]
    why = "The grade of fixation is the same." if step == 0 else f"Fixation is {verdict.value}."
    return Change(verdict, why, _NO_SOURCE, cautions=(_GRADE_CAUTION,))
