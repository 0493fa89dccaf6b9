"""Decisions on occlusion: who may, on what, and that nothing recorded is ever overwritten."""

import json
from typing import Any

import pytest

from tests.conftest import CLINIC_TOML, Clinic

pytestmark = pytest.mark.both_databases

PEOPLE = """
[people]
"S. Lindqvist" = "orthoptist"
"Dr R. Haddad" = "doctor"
"A. Brandt" = "coordinator"
"""


@pytest.fixture
def nils(clinic: Clinic) -> Clinic:
    """K-9, five years old, 0.60 and 0.00 logMAR, on 2 hours a day from 2 March 2026."""
    (clinic.home / "clinic.toml").write_text(CLINIC_TOML + PEOPLE)
    clinic.say('child add K-9 --name "Nils" --born 2021-02-01 --today 2026-03-02')
    look(clinic, "2026-03-02", "0.60")
    clinic.say(
        'occlusion change K-9 --hours 2 --eye left --why "agreed" --today 2026-03-02 '
        '--who "S. Lindqvist"'
    )
    return clinic


def look(
    clinic: Clinic, on: str, right: str, left: str = "0.00", test: str = "electronic letters"
) -> None:
    clinic.say(
        f'exam add K-9 --on {on} --test "{test}" --acuity "right={right} logMAR" '
        f'--acuity "left={left} logMAR" --wears left=glasses --wears right=glasses '
        "--cataract left=none --cataract right=none --nystagmus none "
        f"--double-vision no --new-squint no --skin-reaction no --today {on}"
    )


def proposed(clinic: Clinic, today: str) -> dict[str, Any]:
    made: dict[str, Any] = json.loads(
        clinic.say(f'occlusion propose K-9 --json --today {today} --who "S. Lindqvist"')
    )
    return made


def rows(made: dict[str, Any]) -> list[str]:
    return [because["row"] for because in made["because"]]


def regimens(clinic: Clinic) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(clinic.say("child show K-9 --json"))["regimens"]
    return found


def test_a_proposal_is_kept_once_and_superseded_by_newer_findings(nils: Clinic) -> None:
    look(nils, "2026-04-13", "0.50")
    first = proposed(nils, "2026-04-13")
    assert (first["id"], first["action"]) == ("K-9/P1", "continue")
    assert proposed(nils, "2026-04-14")["id"] == "K-9/P1"
    look(nils, "2026-04-15", "0.40")
    assert nils.refuse('occlusion accept K-9 --today 2026-04-15 --who "S. Lindqvist"') == (
        "K-9: K-9/P1 no longer follows from what is recorded. "
        "Look at what is proposed now: rehab occlusion propose K-9"
    )
    assert proposed(nils, "2026-04-15")["id"] == "K-9/P2"
    course = json.loads(nils.say("occlusion show K-9 --json --today 2026-04-15"))
    assert [p["decision"] for p in course["proposals"]] == ["superseded", "proposed"]


REFUSED = [
    ("occlusion accept K-9", "A. Brandt", "A. Brandt (coordinator) cannot accept occlusion."),
    ("occlusion accept K-9", "Somebody", "Somebody has no role in this clinic and cannot accept"),
    (
        'occlusion change K-9 --hours 3 --why "more"',
        "A. Brandt",
        "A. Brandt (coordinator) cannot change occlusion.",
    ),
    ('occlusion decline K-9 --why "no"', "A. Brandt", "cannot decline a proposal."),
]


@pytest.mark.parametrize(("line", "who", "words"), REFUSED)
def test_only_a_named_orthoptist_or_doctor_gives_hours(
    nils: Clinic, line: str, who: str, words: str
) -> None:
    look(nils, "2026-04-13", "0.50")
    proposed(nils, "2026-04-13")
    before = nils.history("K-9")
    assert words in nils.refuse(f'{line} --today 2026-04-13 --who "{who}"')
    assert nils.history("K-9") == before


def test_whoever_looks_after_the_child_may_let_it_rest(nils: Clinic) -> None:
    said = nils.say('occlusion pause K-9 --why "sore skin" --today 2026-03-09 --who "A. Brandt"')
    assert said.startswith(
        "Recorded K-9/R1: occlusion rests from 2026-03-09, next look on 2026-03-23."
    )
    assert "from 2026-03-02 to 2026-03-08" in said


def test_a_rest_ends_only_with_a_change_by_a_person(nils: Clinic) -> None:
    nils.say('occlusion pause K-9 --why "double vision" --today 2026-03-09')
    look(nils, "2026-03-16", "0.60")
    made = proposed(nils, "2026-03-16")
    assert (made["action"], made["minutes_per_day"]) == ("a person decides", 0)
    assert "leaves the decision to you: Occlusion rests" in nils.refuse(
        'occlusion accept K-9 --today 2026-03-16 --who "S. Lindqvist"'
    )
    nils.say(
        'occlusion change K-9 --hours 1 --why "single again" --today 2026-03-16 '
        '--who "S. Lindqvist"'
    )
    first, second = regimens(nils)
    assert (first["paused_from"], first["ends"]) == ("2026-03-09", "2026-03-16")
    assert (second["starts"], second["minutes_per_day"]) == ("2026-03-16", 60)


def test_what_is_declined_leaves_the_regimen_as_it_is_and_keeps_the_words(nils: Clinic) -> None:
    look(nils, "2026-04-13", "0.50")
    proposed(nils, "2026-04-13")
    before = regimens(nils)
    nils.say(
        'occlusion decline K-9 --why "new glasses first" --today 2026-04-13 --who "S. Lindqvist"'
    )
    assert regimens(nils) == before
    shown = nils.say("occlusion show K-9 --today 2026-04-13")
    assert "K-9/P1  of 2026-04-13: continue, declined\n    new glasses first\n" in shown
    assert "no proposal of occlusion waits" in nils.refuse(
        'occlusion accept K-9 --today 2026-04-13 --who "S. Lindqvist"'
    )


def test_two_looks_by_different_tests_are_said_to_be_no_comparison(nils: Clinic) -> None:
    look(nils, "2026-04-13", "0.30", test="crowded pictures")
    made = proposed(nils, "2026-04-13")
    assert made["action"] == "a person decides"
    assert "The better eye cannot be compared with its last result" in made["to_decide"]
    assert any("The tests differ" in found for found in made["found"])


def test_an_eye_that_could_not_be_tested_is_said(nils: Clinic) -> None:
    nils.say(
        'exam add K-9 --on 2026-04-13 --acuity "right=0.50 logMAR" --test "electronic letters" '
        "--today 2026-04-13"
    )
    made = proposed(nils, "2026-04-13")
    assert "left eye on 2026-04-13: not tested" in made["found"]
    assert "The better eye was not measured" in made["to_decide"]


def test_a_review_before_the_regimen_began_is_refused(nils: Clinic) -> None:
    nils.say(
        'occlusion change K-9 --hours 3 --why "agreed by telephone" --today 2026-03-20 '
        '--who "S. Lindqvist"'
    )
    assert nils.refuse("occlusion propose K-9 --today 2026-04-13") == (
        "K-9: the review on 2026-03-02 is before the regimen began on 2026-03-20. Check both dates."
    )


def test_one_look_carries_one_decision(nils: Clinic) -> None:
    look(nils, "2026-04-13", "0.50")
    proposed(nils, "2026-04-13")
    nils.say('occlusion accept K-9 --today 2026-04-13 --who "S. Lindqvist"')
    assert nils.refuse("occlusion propose K-9 --today 2026-04-14") == (
        "K-9: the decision of 2026-04-13 already rests on the look of 2026-04-13. "
        "Examine the child again, then propose."
    )


UNSAFE = [
    ("--hours 3 --eye right", "the right eye is the one that needs the treatment"),
    ("--hours 12 --method atropine --prescriber 'Dr R. Haddad'", "atropine is not worn by the"),
    ("--by-age --method atropine", "S. Lindqvist is not named as one. Give --prescriber"),
    ("--by-age --method 'blurring filter'", "the hours by age are those of a patch. Give --hours."),
    ("--hours 3 --review 2026-04-13", "has no review after its start."),
    ("--hours 3 --starts 2026-03-01", "K-9/R1 already occludes the left eye from 2026-03-02."),
]


@pytest.mark.parametrize(("terms", "words"), UNSAFE)
def test_terms_that_would_harm_are_refused_and_nothing_is_overwritten(
    nils: Clinic, terms: str, words: str
) -> None:
    before = nils.history("K-9")
    said = nils.refuse(
        f'occlusion change K-9 {terms} --why "as I think" --today 2026-04-13 --who "S. Lindqvist"'
    )
    assert words in said
    assert nils.history("K-9") == before


def test_drops_of_a_doctor_are_never_read_as_hours(nils: Clinic) -> None:
    said = nils.say(
        "occlusion change K-9 --by-age --method atropine --prescriber 'Dr R. Haddad' "
        '--why "patch refused" --today 2026-04-13 --who "S. Lindqvist"'
    )
    assert "Recorded K-9/R2: atropine for the left eye, not by the hour" in said
    plan = json.loads(nils.say("plan show K-9 --json --today 2026-04-13"))
    assert [s["hours_per_day"] for s in plan["occlusion"] if s["until"] > "2026-04-13"] == []
    assert "occlusion_review" in {check["kind"] for check in plan["checks"]}


def test_terms_decided_for_a_later_day_may_still_be_changed(nils: Clinic) -> None:
    line = 'occlusion change K-9 --why "w" --today 2026-04-13 --who "S. Lindqvist"'
    nils.say(f"{line} --hours 3 --starts 2026-04-20")
    assert nils.refuse("occlusion propose K-9 --today 2026-04-14") == (
        "K-9: K-9/R2 is decided and begins on 2026-04-20. "
        "Change it, or look at the child once it has begun."
    )
    nils.say(f"{line} --hours 4 --starts 2026-04-18")
    assert [(r["starts"], r["ends"], r["minutes_per_day"]) for r in regimens(nils)] == [
        ("2026-03-02", "2026-04-18", 120),
        ("2026-04-18", None, 240),
    ]


def test_the_reason_of_a_proposal_stands_with_its_day(nils: Clinic) -> None:
    look(nils, "2026-04-13", "0.50")
    made = proposed(nils, "2026-04-13")
    said = nils.say("plan why K-9 2026-04-13 --today 2026-04-13")
    for row in rows(made):
        assert f"row {row}\n" in said
    assert "occlusion proposal K-9/P1: continue, proposed" in said


def test_a_role_that_does_not_exist_is_refused(clinic: Clinic) -> None:
    (clinic.home / "clinic.toml").write_text(CLINIC_TOML + '[people]\n"A" = "manager"\n')
    assert "[people] must give each name one of orthoptist, doctor" in clinic.refuse("child list")
