"""`rehab exam`: what was found is recorded for each eye and settles the checks it answers."""

import json
from typing import Any

from tests.conftest import Clinic


def _examinations(clinic: Clinic) -> list[dict[str, Any]]:
    shown: dict[str, Any] = json.loads(clinic.say("child show K-017 --json"))
    return list(shown["examinations"])


def test_both_eyes_and_several_tests_go_into_one_examination(asel: Clinic) -> None:
    said = asel.say(
        "exam add K-017 --on 2026-04-13 --acuity right=6/60 --acuity left=6/18 "
        '--test "crowded pictures" --acuity "left=0.30 logMAR" --pressure left=12'
    )
    assert said == "Recorded K-017/X2. See the plan: rehab plan show K-017\n"
    found = {f["eye"]: f for f in _examinations(asel)[1]["findings"]}
    assert [a["written"] for a in found["left"]["acuity"]] == ["6/18", "0.30 logMAR"]
    assert {a["test"] for f in found.values() for a in f["acuity"]} == {"crowded pictures"}
    assert (found["left"]["pressure_mmhg"], found["right"]["pressure_mmhg"]) == (12, None)


def test_a_pressure_that_was_measured_is_no_longer_overdue(asel: Clinic) -> None:
    late = {
        (check["kind"], check["status"])
        for check in json.loads(asel.say("plan show K-017 --json"))["checks"]
    }
    assert ("pressure_check", "overdue") in late
    asel.say("exam add K-017 --on 2026-04-20 --pressure right=16")
    after = json.loads(asel.say("plan show K-017 --json"))["checks"]
    assert "overdue" not in {c["status"] for c in after if c["kind"] == "pressure_check"}


def test_a_check_may_be_done_without_a_value(asel: Clinic) -> None:
    asel.say('exam add K-017 --on 2026-04-13 --done "right=dilated fundus"')
    assert _examinations(asel)[1]["done"] == [["dilated_fundus", "right"]]


def test_a_power_that_was_rounded_is_told(asel: Clinic) -> None:
    said = asel.say("exam add K-017 --on 2026-04-13 --refraction right=+4.00/-1.00x0")
    assert said.startswith("Recorded K-017/X2.")
    assert "axis" in said.lower()


def test_a_finding_that_names_no_eye_is_refused(asel: Clinic) -> None:
    said = asel.misuse("exam add K-017 --on 2026-04-13 --pressure 14")
    assert "--pressure" in said
    assert "'14' names no eye; write right=VALUE or left=VALUE" in said


def test_nystagmus_alone_is_a_finding(asel: Clinic) -> None:
    asel.say("exam add K-017 --on 2026-04-13 --nystagmus manifest")
    assert _examinations(asel)[1]["nystagmus"] == "manifest"


def test_an_examination_without_a_finding_is_refused(asel: Clinic) -> None:
    assert asel.refuse("exam add K-017 --on 2026-04-13") == (
        "K-017: the examination holds no finding. Give at least one, such as --pressure right=14."
    )


def test_a_cataract_in_an_eye_without_its_lens_is_refused(asel: Clinic) -> None:
    said = asel.refuse("exam add K-017 --on 2026-04-13 --cataract right=dense")
    assert said == (
        "K-017: the right eye is aphakic, so its lens cannot have a cataract. "
        "For a membrane behind the pupil record visual axis hazy or opaque."
    )


def test_the_size_of_an_eye_is_recorded_in_millimetres(asel: Clinic) -> None:
    asel.say(
        "exam add K-017 --on 2026-04-13 --under-anaesthesia --corneal-diameter right=9.8 "
        '--axial-length "right=17,4 mm"'
    )
    assert "cornea 9.8 mm, axial length 17.40 mm" in asel.say("child show K-017")
    (found,) = _examinations(asel)[1]["findings"]
    assert (found["corneal_diameter_mm"], found["axial_length_mm"]) == (9.8, 17.4)


def test_a_size_that_no_eye_has_is_refused_with_an_example(asel: Clinic) -> None:
    said = asel.refuse("exam add K-017 --on 2026-04-13 --corneal-diameter right=98")
    assert said == (
        'K-017, right eye, corneal diameter: "98" is outside 5 to 16 mm. '
        'Write millimetres from 5 to 16, for example "9.8".'
    )


def test_what_cannot_wait_is_told_as_soon_as_it_is_recorded(asel: Clinic) -> None:
    said = asel.say("exam add K-017 --on 2026-04-18 --pressure right=38")
    assert "FLAG, today: The pressure of the right eye was 38 mmHg" in said
