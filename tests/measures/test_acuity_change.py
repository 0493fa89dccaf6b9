"""Two acuities side by side: what is a change, what is noise, and what may not be compared."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.measures.acuity import Acuity, parse_acuity
from rehab.measures.acuity_change import (
    Verdict,
    interocular_lines,
    interocular_octaves,
    judge_change,
    logmar_difference_hundredths,
    same_series,
)


@pytest.mark.parametrize(
    ("test", "before", "after", "verdict", "source"),
    [
        # Holmes 2001: a change of more than 0.18 is real.
        ("single crowded letters", "0.50 logMAR", "0.40 logMAR", Verdict.WITHIN_NOISE, "Holmes"),
        ("single crowded letters", "0.50 logMAR", "0.32 logMAR", Verdict.WITHIN_NOISE, "Holmes"),
        ("single crowded letters", "0.50 logMAR", "0.30 logMAR", Verdict.BETTER, "Holmes"),
        # Cotter 2003: ten letters, 0.2, are beyond noise.
        ("electronic letters", "58 letters ETDRS", "48 letters ETDRS", Verdict.WORSE, "Cotter"),
        (
            "electronic letters",
            "58 letters ETDRS",
            "49 letters ETDRS",
            Verdict.WITHIN_NOISE,
            "Cotter",
        ),
        # Chen 2006: limits of agreement of 0.18.
        ("symbols", "0.30 logMAR", "0.12 logMAR", Verdict.WITHIN_NOISE, "Chen"),
        ("symbols", "0.30 logMAR", "0.11 logMAR", Verdict.BETTER, "Chen"),
        # Mayer 1995: half an octave is retest, an octave is not.
        ("grating cards", "6 cpd", "4.25 cpd", Verdict.WITHIN_NOISE, "Mayer"),
        ("grating cards", "6 cpd", "3 cpd", Verdict.WORSE, "Mayer"),
        ("grating cards", "13 cpd", "7 cpd", Verdict.WORSE, "Mayer"),
        # No published limit: two lines, an assumption that says so.
        ("crowded letters", "6/12", "6/9.5", Verdict.WITHIN_NOISE, "assumption"),
        ("unknown", "20/32", "20/50", Verdict.WORSE, "assumption"),
    ],
)
def test_a_change_counts_beyond_the_published_retest_limit(
    test: str, before: str, after: str, verdict: Verdict, source: str
) -> None:
    change = judge_change(parse_acuity(before, test=test), parse_acuity(after, test=test))
    assert change.verdict is verdict
    assert change.source.startswith(source)


@pytest.mark.parametrize(
    ("before", "after", "verdict"),
    [
        ("LP", "NLP", Verdict.WORSE),
        ("HM", "CF", Verdict.BETTER),
        ("CF", "6/60", Verdict.BETTER),
        ("6/18", "CF", Verdict.WORSE),
        ("HM", "HM", Verdict.WITHIN_NOISE),
        ("CF 30 cm", "CF 1 m", Verdict.NOT_COMPARABLE),
        # 1/60 is 1.78, inside the retest of counting fingers (Lange 2009: 1.98, 0.21).
        ("CF", "1/60", Verdict.NOT_COMPARABLE),
        ("CSUM", "CSM", Verdict.BETTER),
        ("CSM", "UCSM", Verdict.WORSE),
        ("CSM", "CSM", Verdict.WITHIN_NOISE),
        ("UCSM", "CSUM", Verdict.NOT_COMPARABLE),
        ("CSM", "fixes and follows", Verdict.NOT_COMPARABLE),
        ("CF", "CSM", Verdict.NOT_COMPARABLE),
        ("5.7 cpd", "CF", Verdict.NOT_COMPARABLE),
        ("6 cpd", "0.40 logMAR", Verdict.NOT_COMPARABLE),
    ],
)
def test_what_is_no_number_changes_in_order_only(before: str, after: str, verdict: Verdict) -> None:
    change = judge_change(parse_acuity(before), parse_acuity(after))
    assert (change.verdict, change.hundredths) == (verdict, None)


def test_pictures_and_letters_are_no_series_and_the_bias_is_said() -> None:
    # Br J Ophthalmol 2017;101:457: crowded pictures read about 0.10 better.
    pictures = parse_acuity("0.20 logMAR", test="crowded pictures")
    letters = parse_acuity("0.30 logMAR", test="crowded letters")
    change = judge_change(pictures, letters)
    assert not same_series(pictures, letters)
    assert change.verdict is Verdict.NOT_COMPARABLE
    assert "about 0.10 logMAR better" in change.why
    assert logmar_difference_hundredths(pictures, letters) is None


def test_an_unknown_test_is_compared_at_the_widest_limit_with_a_caution() -> None:
    known = parse_acuity("0.30 logMAR", test="symbols")
    unknown = parse_acuity("0.49 logMAR")
    change = judge_change(known, unknown)
    assert (change.verdict, change.hundredths) == (Verdict.WITHIN_NOISE, 19)
    assert "unknown" in change.cautions[0]


@pytest.mark.parametrize(("before", "after"), [("6/18", "6/60"), ("CF", "6/12")])
def test_with_and_without_correction_are_not_compared(before: str, after: str) -> None:
    change = judge_change(
        parse_acuity(before, correction="glasses"), parse_acuity(after, correction="none")
    )
    assert change.verdict is Verdict.NOT_COMPARABLE


def test_another_distance_and_spare_letters_are_cautions() -> None:
    change = judge_change(
        parse_acuity("6/12-2", test="symbols", distance_cm=300),
        parse_acuity("6/12", test="symbols", distance_cm=150),
    )
    assert len(change.cautions) == 2


def test_two_lines_between_named_lines_measure_two_lines() -> None:
    assert interocular_lines(parse_acuity("20/50"), parse_acuity("20/32")) == 2.0
    assert interocular_lines(parse_acuity("20/32"), parse_acuity("20/50")) == -2.0


def test_four_octaves_between_the_eyes() -> None:
    # Derived: log2(19.2 / 1.2) = 4; two octaves are the criterion of the American Academy of
    # Ophthalmology's amblyopia practice pattern.
    octaves = interocular_octaves(parse_acuity("1.2 cpd"), parse_acuity("19.2 cpd"))
    assert octaves == pytest.approx(4.0)


def test_lines_are_for_letters_and_octaves_for_gratings() -> None:
    letters, grating = parse_acuity("6/12"), parse_acuity("5.7 cpd")
    assert interocular_lines(grating, grating) is None
    assert interocular_lines(letters, grating) is None
    assert interocular_octaves(letters, letters) is None
    assert interocular_octaves(grating, letters) is None


_RESULTS = st.sampled_from(
    (
        "6/6",
        "6/60",
        "1/60",
        "NLP",
        "LP",
        "HM",
        "CF",
        "CF 1m",
        "CSM",
        "CSUM",
        "F&F",
        "1 cpd",
        "9 cpd",
    )
).map(parse_acuity)
_OPPOSITE = {Verdict.BETTER: Verdict.WORSE, Verdict.WORSE: Verdict.BETTER}


@given(_RESULTS, _RESULTS)
def test_a_change_seen_backwards_is_the_opposite(one: Acuity, other: Acuity) -> None:
    forward, backward = judge_change(one, other).verdict, judge_change(other, one).verdict
    assert backward is _OPPOSITE.get(forward, forward)
