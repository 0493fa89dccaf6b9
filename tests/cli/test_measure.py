"""`rehab measure`: a bench calculator that needs no clinic and names its sources."""

import json
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.cli.main import rehab
from rehab.cli.measure import measure
from tests.conftest import TODAY, Clinic

VALUED = {
    "acuity": ["acuity"],
    "vertex": ["vertex"],
    "pressure": ["pressure", "--today", TODAY],
    "cornea": ["cornea", "--age-months", "2", "--today", TODAY],
    "axial-length": ["axial-length", "--age-months", "2", "--today", TODAY],
    "contact-lens": ["contact-lens", "--axial-length"],
    "contact-lens from": ["contact-lens", "--refraction"],
    "target": ["target", "--today", TODAY, "--age"],
    "target recorded": ["target", "--today", TODAY, "--age", "7y", "--target"],
    "near": ["near", "--today", TODAY, "--age", "5y", "--wears"],
}
TYPED = st.text(max_size=12) | st.text("+-/0123456789.,x mdyw@", max_size=12)


@pytest.fixture
def bench(tmp_path: Path) -> Clinic:
    """No clinic has been made."""
    return Clinic(tmp_path / "nowhere")


def asked(bench: Clinic, line: str) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads(bench.say(f"measure {line} --json"))
    return answer


def test_an_acuity_is_written_in_the_other_notations(bench: Clinic) -> None:
    # Holladay 1997: 6/18 is 20/60 and 0.48.
    lines = bench.say('measure acuity "6/18"').splitlines()
    assert lines[:4] == [
        "6/18 (optotype)",
        "  6 m      6/18",
        "  20 ft    20/60",
        "  decimal  0.333 decimal",
    ]
    assert lines[-1].startswith("Source: ")
    assert asked(bench, "acuity 6/18")["notations"]["logMAR"] == "0.48 logMAR"


def test_sight_without_a_number_is_drawn_by_named_schemes(bench: Clinic) -> None:
    said = bench.say('measure acuity "CF 1m"')
    assert "  lange-2009           1.98 logMAR, for drawing only\n" in said
    assert asked(bench, 'acuity "CF 1m"')["distance_cm"] == 100


def test_a_distance_and_a_test_belong_to_the_answer(bench: Clinic) -> None:
    # Derived: 6.5 x 55 x tan 1 degree = 6.24.
    answer = asked(bench, 'acuity "6.5 cy/cm" --distance-cm 55 --test "grating cards"')
    assert (answer["notations"], answer["test"]) == ({"grating": "6.24 cpd"}, "grating cards")


@pytest.mark.parametrize("text", ["20/0", "6/6/6", "0.5", "70 letters"])
def test_an_acuity_that_could_be_two_things_or_none_is_refused(bench: Clinic, text: str) -> None:
    said = bench.refuse(f"measure acuity '{text}'")
    assert said.startswith("acuity: ")
    assert "Write " in said


def test_a_lens_is_moved_to_the_cornea_and_back(bench: Clinic) -> None:
    # F / (1 - dF) at 12 mm.
    assert bench.say("measure vertex +12 --mm 12").splitlines()[:2] == [
        "+12.00 as glasses at 12 mm is +14.00 as a contact lens.",
        "Before rounding: +14.02. Each principal meridian is rounded to the nearest 0.25 D.",
    ]
    back = bench.say("measure vertex +32.00 --to-glasses").splitlines()[0]
    assert back == "+32.00 as a contact lens is +23.00 as glasses at 12 mm."
    assert asked(bench, "vertex +12/-2x90")["exact_dioptres"] == [14.02, 11.36]


def test_a_minus_lens_is_not_taken_for_an_option(bench: Clinic) -> None:
    assert bench.say("measure vertex -10.00").startswith("-10.00 as glasses at 12 mm is -9.00 ")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("+12.3", "the nearest are +12.25 and +12.50"),
        ("+4.00/-1.00x190", "An axis of 190 is not 1 to 180"),
        ("12", "12 has no sign: +12 or -12?"),
    ],
)
def test_a_lens_that_cannot_be_is_refused(bench: Clinic, text: str, words: str) -> None:
    said = bench.refuse(f"measure vertex {text}")
    assert words in said
    assert 'Write for example "+4.00/-1.00x90"' in said


def test_axis_0_is_read_as_180_and_said_so(bench: Clinic) -> None:
    said = bench.say("measure vertex +8.00/-1.00x0")
    assert "Axis 0 was read as 180." in said
    assert "Axis 0 was read as 180." in asked(bench, "vertex +8.00/-1.00x0")["notes"]


def test_a_vertex_distance_of_no_face_is_refused(bench: Clinic) -> None:
    assert "outside 0 to 20 mm" in bench.refuse("measure vertex +12 --mm 40")


def test_a_contact_lens_is_expected_by_length_age_and_refraction(bench: Clinic) -> None:
    answer = asked(bench, "contact-lens --axial-length 18.0 --age-months 12 --refraction +16")
    # P = 84.4 - 3.2 x axial length; P = 31.66 - 0.62 x months; F / (1 - dF).
    assert answer["by_axial_length"]["dioptres"] == 26.8
    assert answer["by_age"]["dioptres"] == 24.22
    assert answer["from_refraction"]["lens"] == "+19.75"
    said = bench.say("measure contact-lens --axial-length 18.0")
    assert "+26.80 D at the cornea (P = 84.4 - 3.2 x axial length in mm)" in said
    assert "the refraction over it decides" in said


def test_an_age_without_a_formula_still_has_its_usual_powers(bench: Clinic) -> None:
    said = bench.say("measure contact-lens --age 3y")
    # Sclafani 2002.
    assert said.startswith("Usually worn at 36 months: +12 to +20 D.")
    assert "No power by age: An age of 36 months is outside 1 to 23 months" in said
    assert asked(bench, "contact-lens --age 3y")["by_age"] is None


def test_a_contact_lens_from_nothing_is_refused(bench: Clinic) -> None:
    said = bench.refuse("measure contact-lens")
    assert said.endswith("Give --axial-length 18.0, --age-months 9 or --refraction +16.00.")


def test_published_targets_are_told_with_their_standing(bench: Clinic) -> None:
    said = bench.say("measure target --age 7y --target +1.00")
    assert "  Wilson                          +1.50\n" in said
    assert "Enyedi. Source: " in said
    assert "(figure from memory)" in said
    assert "+1.00 is within the published range (plano to +1.50).\n" in said
    assert said.endswith("the surgeon chooses, and this names no implant.\n")
    answer = asked(bench, "target --age-months 1")
    assert [one["name"] for one in answer["residual_refraction"] if one["answers"]] == [
        "Wilson",
        "Infant Aphakia Treatment Study",
        "Weakley, plano at 5 years",
    ]


@pytest.mark.parametrize("line", ["", "--age 7y --age-months 84"])
def test_one_age_is_needed(bench: Clinic, line: str) -> None:
    said = bench.refuse(f"measure target {line}")
    assert said == "age: one age is needed. Give --age 7y or --age-months 9, not both."


def test_a_pressure_says_whom_to_tell_and_when(bench: Clinic) -> None:
    # IoLunder2: 21 mmHg and more; Kwok 1997: drops stopped at 30 and more.
    said = bench.say("measure pressure 24 --days-since-surgery 10")
    assert said.startswith("24 mmHg. It is raised: consider steroid drops or glaucoma. Tell the ")
    assert "surgeon this week.\nSource: Solebo AL" in said
    (answer,) = asked(bench, "pressure 31 --days-since-surgery 10")["answers"]
    assert (answer["then"]["urgency"], answer["then"]["call"]) == ("today", "the surgeon")
    (unknown,) = asked(bench, "pressure 31")["answers"]
    assert unknown["then"]["urgency"] == "today"
    (other,) = asked(bench, "pressure 24 --not-operated")["answers"]
    assert other["outcome"] == "refer"


def test_an_eye_is_operated_or_not(bench: Clinic) -> None:
    said = bench.refuse("measure pressure 24 --not-operated --days-since-surgery 3")
    assert said.endswith("Give --days-since-surgery or --not-operated, not both.")


def test_a_cornea_is_judged_small_and_large(bench: Clinic) -> None:
    # IoLunder2: below 10 mm after 1 month.
    said = bench.say("measure cornea 9.8 --age-months 2")
    assert said.startswith("9.8 mm. It is below 10.0 mm (microcornea).")
    assert "9.8 mm. It is not large for this age.\n" in said
    assert "13.1 mm or more" in bench.say("measure cornea 13.5 --age 2y")


@pytest.mark.parametrize(("age", "limit"), [("5w", "17.50"), ("4m", "18.00")])
def test_an_axial_length_is_judged_by_age(bench: Clinic, age: str, limit: str) -> None:
    # IoLunder2: below 17.5 mm from 1 month, 18 mm from 3 months.
    said = bench.say(f"measure axial-length 17.4 --age {age}")
    assert said.startswith(f"17.40 mm. It is below {limit} mm (microphthalmos).")
    assert "It is not small for this age." in bench.say("measure axial-length 19.0 --age 4m")


def test_an_axial_length_stands_beside_the_means_of_its_age(bench: Clinic) -> None:
    # Pennie 2001, Vision Res 41:2799: 19.64 mm at 26 weeks.
    said = bench.say("measure axial-length 19.0 --age 26w")
    assert "Mean of infants without cataract: 19.64 mm. Source: Pennie 2001" in said
    beside = asked(bench, "axial-length 19.0 --age 26w")["beside"]
    assert [one["says"].split()[2] for one in beside] == ["infants", "boys", "girls"]
    assert asked(bench, "axial-length 19.0 --age 10y")["beside"] == []


def test_near_plus_goes_on_top_of_the_distance(bench: Clinic) -> None:
    # Ram and Brar 2007: 3 D, at school as bifocals.
    said = bench.say("measure near --wears glasses --age 5y --refraction +2.25/-2.25x175")
    assert said.startswith("+3.00 D for near, bifocal. Near part: +5.25/-2.25x175.\nSource: Ram J")


@pytest.mark.parametrize(
    ("wears", "age", "says"),
    [
        # Review of Contact Lenses: infants are over-corrected by 2.50 to 3.00 D.
        ("contact lens", "5m", "+2.50 to +3.00 D for near, single vision for near."),
        # From memory: 2 to 3 D to 18 months; afterwards practice differs.
        ("contact lens", "15m", "+2.00 to +3.00 D for near, single vision for near."),
        ("contact lens", "20m", "From 18 months to 3 years practice differs"),
        ("contact lens", "4y", "+2.50 to +3.00 D for near, glasses over the lens."),
        # From memory: 2 D to the second birthday in a trial; a textbook gives 3 D.
        ("glasses", "1y", "+2.00 to +3.00 D for near, single vision for near."),
        # Ram and Brar 2007: before school 3 D more, worn full time.
        ("glasses", "3y", "+3.00 D for near, single vision for near or bifocal."),
        ("none", "3y", "It is not recorded that this eye wears a correction"),
    ],
)
def test_near_plus_by_age_and_correction(bench: Clinic, wears: str, age: str, says: str) -> None:
    assert bench.say(f'measure near --wears "{wears}" --age {age}').startswith(says)


def test_nothing_is_written_by_measuring(bench: Clinic) -> None:
    bench.say("measure target --age 7y")
    assert not bench.home.exists()


@pytest.mark.parametrize("words", VALUED.values(), ids=VALUED)
@settings(deadline=None, max_examples=60)
@given(typed=TYPED)
def test_any_text_is_answered_or_refused_in_words(words: list[str], typed: str) -> None:
    result = CliRunner().invoke(rehab, ["measure", *words, typed], prog_name="rehab")
    assert isinstance(result.exception, SystemExit | None), repr(result.exception)
    assert result.exit_code in (0, 1, 2)
    assert result.stdout if result.exit_code == 0 else result.stderr


@pytest.mark.parametrize("name", measure.commands)
def test_every_answer_can_be_had_as_json(name: str) -> None:
    parameters = measure.commands[name].params
    assert any(isinstance(p, click.Option) and "--json" in p.opts for p in parameters)
