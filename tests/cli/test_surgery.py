"""`rehab surgery`: an operation is recorded, and the plan follows from it."""

import json

import pytest

from tests.conftest import Clinic


@pytest.fixture
def child(clinic: Clinic) -> Clinic:
    clinic.say("child add K-1 --name A --born 2026-02-11")
    return clinic


def test_an_operation_starts_the_checks_of_its_eye(child: Clinic) -> None:
    assert json.loads(child.say("plan show K-1 --json"))["checks"] == []
    said = child.say('surgery add K-1 --eye right --on 2026-03-30 --procedure "lens removal"')
    assert said == "Recorded K-1/S1. See the plan: rehab plan show K-1\n"
    checks = json.loads(child.say("plan show K-1 --json"))["checks"]
    assert {"post_operative_review", "pressure_check"} <= {check["kind"] for check in checks}
    assert {check["eye"] for check in checks if check["kind"] == "pressure_check"} == {"right"}


@pytest.mark.parametrize(
    ("written", "eye"), [("R", "right"), ("OD", "right"), ("l", "left"), ("os", "left")]
)
def test_an_eye_may_be_written_as_notes_write_it(child: Clinic, written: str, eye: str) -> None:
    child.say(f'surgery add K-1 --eye {written} --on 2026-03-30 --procedure "lens removal"')
    assert f"lens removal of the {eye} eye (unknown sutures)" in child.say("child show K-1")


def test_an_implant_may_follow_in_an_aphakic_eye(child: Clinic) -> None:
    child.say('surgery add K-1 --eye left --on 2026-03-02 --procedure "lens removal"')
    said = child.say('surgery add K-1 --eye left --on 2026-04-13 --procedure "secondary implant"')
    assert said.startswith("Recorded K-1/S2.")


def test_a_word_that_is_no_eye_is_refused(child: Clinic) -> None:
    said = child.misuse('surgery add K-1 --eye both --on 2026-03-30 --procedure "lens removal"')
    assert "--eye" in said
    assert "'both' is not an eye; write right or left (R, L, OD, OS)" in said


def test_an_operation_that_has_not_been_yet_is_refused(child: Clinic) -> None:
    said = child.refuse('surgery add K-1 --eye left --on 2026-04-21 --procedure "lens removal"')
    assert said == (
        "K-1: the surgery on 2026-04-21 has not been yet (today is 2026-04-20). "
        "Check the date, or give --today."
    )


def test_the_refraction_aimed_at_with_an_implant_is_recorded(child: Clinic) -> None:
    child.say(
        "surgery add K-1 --eye left --on 2026-03-30 --target +6.00 "
        '--procedure "lens removal with implant"'
    )
    assert "(unknown sutures), aimed at +6.00" in child.say("child show K-1")
    assert json.loads(child.say("child show K-1 --json"))["surgeries"][0]["target"] == "+6.00"


def test_an_operation_without_an_implant_aims_at_no_refraction(child: Clinic) -> None:
    said = child.refuse(
        'surgery add K-1 --eye left --on 2026-03-30 --procedure "lens removal" --target +6.00'
    )
    assert said == (
        "K-1: lens removal sets no implant, so it aims at no refraction. Leave the target out, "
        "or check the procedure (lens removal with implant, secondary implant)."
    )


def test_a_target_with_a_cylinder_is_refused(child: Clinic) -> None:
    said = child.refuse(
        "surgery add K-1 --eye left --on 2026-03-30 --target +6.00/-1.00x90 "
        '--procedure "lens removal with implant"'
    )
    assert said == (
        'target refraction: "+6.00/-1.00x90" has a cylinder; a target is one power. '
        'Write for example "+6.00" or "plano".'
    )
