"""`rehab child`: children are registered, listed, shown, and their care here ends."""

import json

from click.testing import CliRunner

from rehab.cli.main import rehab
from tests.conftest import Clinic


def test_an_ending_cancels_what_is_booked_after_it(asel: Clinic) -> None:
    """Nobody holds a place, or is marked as not brought, after care has ended or a child died."""
    asel.say("appointment book K-017 2026-04-24")
    asel.say("appointment book K-017 2026-05-04 --told in")
    said = asel.say('child end K-017 "moved away" --on 2026-04-20')
    assert said.splitlines()[1] == (
        "Appointments cancelled: 2026-04-24, 2026-05-04. Make sure that the family knows."
    )
    assert "2026-05-04  K-017/A2  appointment: cancelled by clinic" in asel.say("child show K-017")
    asel.say("record withdraw K-017/E1 --why slip")
    (line,) = json.loads(asel.say("recall list --json"))
    sentences = [reason["sentence"] for reason in line["reasons"]]
    assert (
        "appointment 2026-05-04 cancelled by the clinic: tell the family not to come" in sentences
    )


def test_nobody_is_asked_to_ring_the_family_of_a_child_that_died(asel: Clinic) -> None:
    asel.say("appointment book K-017 2026-05-04")
    assert asel.say("child end K-017 died --on 2026-04-19").splitlines()[1] == (
        "Appointments cancelled: 2026-05-04."
    )
    assert asel.say("recall list") == "Nobody needs to be contacted.\n"


def test_a_child_who_is_added_stands_on_the_list_with_a_phone(clinic: Clinic) -> None:
    said = clinic.say('child add K-017 --name "Asel T" --born 2026-02-11 --phone "+00 555 0117"')
    assert said == "Recorded K-017.\n"
    assert clinic.say("child list").splitlines() == [
        "NUMBER  NAME    BORN        PHONE",
        "K-017   Asel T  2026-02-11  +00 555 0117",
    ]
    assert json.loads(clinic.say("child list --json")) == [
        {"number": "K-017", "name": "Asel T", "date_of_birth": "2026-02-11"}
    ]


def test_a_clinic_without_children_has_an_empty_list(clinic: Clinic) -> None:
    assert clinic.say("child list") == ""
    assert json.loads(clinic.say("child list --json")) == []


def test_who_recorded_a_child_and_why_is_kept(clinic: Clinic) -> None:
    clinic.say('child add K-017 --name Asel --born 2026-02-11 --who "S. Lindqvist" --why "moved"')
    (version,) = clinic.history("K-017")
    assert (version.stamp.by, version.stamp.reason) == ("S. Lindqvist", "moved")


def test_the_name_of_who_records_may_come_from_the_environment(clinic: Clinic) -> None:
    words = f"--home {clinic.home} child add K-017 --name Asel --born 2026-02-11"
    words += " --today 2026-04-20"
    nobody = CliRunner(env={"REHAB_USER": None}).invoke(rehab, words)
    assert (nobody.exit_code, "Missing option '--who'" in nobody.stderr) == (2, True)
    known = CliRunner(env={"REHAB_USER": "S. Lindqvist"}).invoke(rehab, words)
    assert known.exit_code == 0
    assert clinic.history("K-017")[0].stamp.by == "S. Lindqvist"


def test_everything_recorded_about_a_child_is_shown_by_day(asel: Clinic) -> None:
    asel.say(
        'exam add K-017 --on 2026-04-13 --fixation "right=central, steady, not maintained" '
        '--acuity "left=fixes and follows" --refraction right=+24.00 --nystagmus none '
        "--pressure 'right=15 rebound tonometer' --done right=dilated_fundus --under-anaesthesia "
        '--note "slept well"'
    )
    asel.say('occlusion accept K-017 --why "lens worn all day"')
    asel.say("appointment book K-017 2026-05-04")
    asel.say(
        'child end K-017 "moved away" --on 2026-09-01 --today 2026-09-01 --note "to the coast"'
    )
    assert asel.say("child show K-017").splitlines() == [
        "K-017  Asel T  born Wed 11 Feb 2026",
        "2026-03-30  K-017/S1  lens removal of the right eye (absorbable sutures)",
        "2026-04-06  K-017/X1  examination, left eye: cataract none",
        "2026-04-06  K-017/X1  examination, right eye: pressure 14 mmHg, visual axis clear, "
        "wears contact lens",
        "2026-04-13  K-017/X2  done: dilated fundus, right eye",
        "2026-04-13  K-017/X2  examination under anaesthesia, left eye: acuity fixes and follows",
        "2026-04-13  K-017/X2  examination under anaesthesia, right eye: fixation central, steady, "
        "not maintained, pressure 15 mmHg (rebound tonometer), refraction +24.00",
        "2026-04-13  K-017/X2  nystagmus none",
        "2026-04-13  K-017/X2  slept well",
        "2026-04-20  K-017/R1  adhesive patch on the left eye, by age, by M. Okoro",
        "2026-05-04  K-017/A1  appointment: booked",
        "2026-09-01  moved away. to the coast",
    ]


def test_a_program_reads_the_same_facts_as_json(asel: Clinic) -> None:
    shown = json.loads(asel.say("child show K-017 --json"))
    assert (shown["number"], shown["date_of_birth"]) == ("K-017", "2026-02-11")
    (surgery,) = shown["surgeries"]
    assert surgery["id"] == "K-017/S1"
    assert (surgery["eye"], surgery["on"]) == ("right", "2026-03-30")
    assert (surgery["procedure"], surgery["sutures"]) == ("lens removal", "absorbable")
    (examination,) = shown["examinations"]
    left, right = sorted(examination["findings"], key=lambda found: found["eye"])
    assert left["cataract"] == "none"
    assert (right["pressure_mmhg"], right["correction"]) == (14, "contact lens")
    assert shown["ending"] is None


def test_a_child_whose_care_here_ended_has_no_plan_and_no_recall(asel: Clinic) -> None:
    assert "K-017" in asel.say("recall list")
    refused = asel.refuse("child end K-017 transferred --on 2026-04-19")
    assert refused == (
        "K-017: a transfer needs the clinic that goes on looking after the child. Give it with "
        "--receiving-clinic, or keep the child here until one has agreed."
    )
    said = asel.say(
        'child end K-017 transferred --on 2026-04-19 --receiving-clinic "Hill Clinic" '
        '--note "records sent"'
    )
    assert said == "Recorded K-017/E1.\n"
    shown = asel.say("child show K-017")
    assert shown.endswith("2026-04-19  transferred to Hill Clinic. records sent\n")
    ending = json.loads(asel.say("child show K-017 --json"))["ending"]
    assert ending["receiving_clinic"] == "Hill Clinic"
    assert json.loads(asel.say("plan show K-017 --json"))["visits"] == []
    assert asel.say("recall list") == "Nobody needs to be contacted.\n"


def test_weeks_of_gestation_that_cannot_be_are_refused(clinic: Clinic) -> None:
    said = clinic.refuse("child add K-1 --name A --born 2026-02-11 --gestation-weeks 52")
    assert said == (
        "K-1: 52 weeks of gestation cannot be. "
        "Give completed weeks from 22 to 45, or leave it out when it is not known."
    )
    clinic.say("child add K-1 --name A --born 2026-02-11 --gestation-weeks 32")
    assert clinic.say("child show K-1") == "K-1  A  born Wed 11 Feb 2026 at 32 weeks\n"
