"""One acuity in every notation, with what must be said beside it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.measures.acuity import parse_acuity
from rehab.measures.acuity_table import acuity_cautions, acuity_source, in_other_notations

NAMES = ("6 m", "20 ft", "decimal", "logMAR", "letters", "score")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # Holladay 1997, J Refract Surg 13:388; letters: Gregori 2010; score: DICOM PS3.17 RR.2.2.
        ("20/40", ("6/12", "20/40", "0.5 decimal", "0.30 logMAR", "70 letters (ETDRS)", "VAS 85")),
        # Holladay 1997 gives 0.18 and 0.48, not the neighbouring lines 0.20 and 0.50.
        ("20/30", ("6/9", "20/30", "0.667 decimal", "0.18 logMAR", "76 letters (ETDRS)", "VAS 91")),
        ("6/18", ("6/18", "20/60", "0.333 decimal", "0.48 logMAR", "61 letters (ETDRS)", "VAS 76")),
        # Gregori 2010 and DICOM PS3.17 RR.2.2: one logMAR in the two scores.
        (
            "VAS 92",
            ("6/8.67", "20/28.9", "0.692 decimal", "0.16 logMAR", "77 letters (ETDRS)", "VAS 92"),
        ),
    ],
)
def test_an_acuity_of_letters_in_all_notations(text: str, expected: tuple[str, ...]) -> None:
    assert in_other_notations(parse_acuity(text)) == tuple(zip(NAMES, expected, strict=True))


def test_a_notation_that_cannot_say_it_gives_its_reason() -> None:
    written = dict(in_other_notations(parse_acuity("1/60")))
    assert written["letters"] == ('not written: "1/60" is poorer than a letter score can say.')
    assert written["logMAR"] == "1.78 logMAR"


def test_counting_fingers_is_drawn_by_named_schemes_only() -> None:
    # Schulze-Bonsel 2006, Lange 2009, Bach and Holladay 1997 differ: the scheme stands beside it.
    acuity = parse_acuity("CF")
    assert in_other_notations(acuity) == (
        ("level", "counting fingers"),
        ("schulze-bonsel-2006", "1.85 logMAR, for drawing only"),
        ("lange-2009", "1.98 logMAR, for drawing only"),
        ("bach", "1.90 logMAR, for drawing only"),
        ("holladay-1997", "2.00 logMAR, for drawing only"),
    )
    assert "no gain in lines may be counted" in acuity_cautions(acuity)[0]


def test_hand_movements_are_2_3_in_one_scheme_and_3_in_another() -> None:
    drawn = dict(in_other_notations(parse_acuity("HM")))
    assert drawn["bach"].startswith("2.30")
    assert drawn["holladay-1997"].startswith("3.00")
    assert dict(in_other_notations(parse_acuity("NLP")))["lange-2009"] == "silent"


def test_a_grating_is_never_turned_into_letters() -> None:
    # Gratings overestimate letters in amblyopia, so the numbers are not exchanged.
    acuity = parse_acuity("6.5 cy/cm at 55 cm")
    assert in_other_notations(acuity) == (("grating", "6.24 cpd"),)
    assert "not turned into one" in acuity_cautions(acuity)[0]


def test_a_grade_of_fixation_is_kept_as_said() -> None:
    acuity = parse_acuity("CSUM")
    assert in_other_notations(acuity) == (("fixation", "central, steady, not maintained"),)
    assert acuity_source(acuity) == "common practice, no source"


def test_what_must_be_said_beside_letters_is_said() -> None:
    # Br J Ophthalmol 2017;101:457: pictures read 0.10 better than letters.
    cautions = acuity_cautions(parse_acuity("6/9-2", test="crowded pictures"))
    assert cautions[0] == 'The letters "-2" are kept but not counted.'
    assert cautions[1].startswith("Crowded pictures read about 0.10 logMAR better")
    assert acuity_cautions(parse_acuity("6/9")) == ()


@given(st.integers(-30, 160))
def test_every_notation_told_reads_back_to_the_same_acuity(hundredths: int) -> None:
    acuity = parse_acuity(f"{hundredths / 100} logMAR")
    for name, text in in_other_notations(acuity):
        logmar = parse_acuity(text).logmar
        assert logmar is not None
        step = 0.011 if name in ("letters", "score") else 0.005
        assert abs(logmar - hundredths / 100) <= step
