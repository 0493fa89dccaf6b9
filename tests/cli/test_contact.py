"""`rehab contact`: how a family is reached, and every try, as a coordinator on the phone types."""

import json
from typing import Any

import pytest

from tests.conftest import Clinic
from tests.diaries import HARBOUR, MONDAYS, keep_diary

SEEN = (
    "exam add K-017 --on 2026-04-15 --pressure right=14 --refraction right=+24.00 "
    "--visual-axis right=clear --done right=contact_lens_review --done right=occlusion_review"
)


def log(clinic: Clinic, what: str, today: str = "2026-04-20") -> list[str]:
    """What the desk is told after a try, without the line that repeats it."""
    first, *after = clinic.say(f"contact log K-017 {what} --today {today}").splitlines()
    assert first.startswith("Recorded K-017/T")
    return after


def shown(clinic: Clinic, more: str = "") -> Any:
    return json.loads(clinic.say(f"contact list K-017 --json {more}"))


@pytest.fixture
def missed(asel: Clinic) -> Clinic:
    """K-017 was not brought on Monday, 20 April, three weeks after surgery."""
    asel.say(SEEN)
    asel.say("appointment book K-017 2026-04-20")
    asel.say('appointment outcome K-017 2026-04-20 "was not brought"')
    return asel


def test_a_family_is_shown_with_consent_limits_language_and_what_was_tried(asel: Clinic) -> None:
    asel.say(
        'contact add K-017 --name "Gulnara T" --relation mother --phone "+00 555 0118" '
        "--address '12 Quay Road\n  Harbour' --text-consent yes"
    )
    asel.say("contact limits K-017 --weekday mon --weekday Thursday --not-before 9:30")
    asel.say('child change K-017 --language sw --why "asked at the visit"')
    asel.say('contact log K-017 --how phone --outcome no --next-try +2 --note "rang twice"')
    assert asel.say("contact list K-017").splitlines() == [
        "K-017  Asel T; home language sw; number of the family +00 555 0117",
        "K-017/C1  Gulnara T (mother); version 1",
        "    phone   +00 555 0118; text messages: yes",
        "    e-mail  not recorded; consent to e-mail: unknown",
        "    address 12 Quay Road",
        "            Harbour",
        "Limits: can come on Monday, Thursday; not before 09:30.",
        "Tries, the last first:",
        "    2026-04-20  phone call: no answer (M. Okoro); next try 2026-04-22; rang twice",
    ]
    told = shown(asel)
    assert told["limits"] == {
        "weekdays": ["Monday", "Thursday"], "not_before": "09:30", "farthest_km": None,
        "distances_km": {},
    }  # fmt: skip
    assert (told["language"], told["tries"][0]["by"]) == ("sw", "M. Okoro")


def test_a_new_number_leaves_the_old_one_in_the_history_with_who_and_why(asel: Clinic) -> None:
    asel.say("contact add K-017 --name Gulnara --phone 555-0118")
    asel.say("contact change K-017/C1 --phone 555-0119 --seen 1 --why 'the aunt rang'")
    asel.say("contact remove K-017/C1 --why 'moved out' --who 'S. Lindqvist'")
    assert asel.say("contact list K-017").splitlines()[1] == "No contact is recorded."
    told = [(h["by"], h["why"], h["what"]) for h in shown(asel, "--history")["history"][1:]]
    assert told == [
        ("M. Okoro", "", "name Gulnara, phone 555-0118"),
        ("M. Okoro", "the aunt rang", "phone 555-0119 (was 555-0118)"),
        ("S. Lindqvist", "moved out", "withdrawn"),
    ]
    said = asel.say("contact list K-017 --history")
    assert "K-017/C1  M. Okoro      phone 555-0119 (was 555-0118); the aunt rang" in said


def test_a_call_is_logged_in_few_keys_and_answers_with_what_comes_next(missed: Clinic) -> None:
    assert missed.say("contact log K-017 -w ph -o no -n +1").splitlines() == [
        "Recorded K-017/T1: phone call 2026-04-20, no answer.",
        "Next on the list: 2026-04-21, next try; 2026-04-22, letter; 2026-04-24, community worker; "
        "2026-04-27, new date.",
    ]


def test_a_next_try_too_far_ahead_does_not_hold_the_family_back_until_then(missed: Clinic) -> None:
    (said,) = log(missed, "-w phone -o no -n +2")
    assert said.startswith(
        "Next on the list: 2026-04-21, again, since a next try on 2026-04-22 is too far ahead for "
        "this child; 2026-04-22, letter;"
    )
    assert json.loads(missed.say("recall list --json"))[0]["contact"] == "on 2026-04-21"


def test_a_wrong_number_is_to_be_corrected_and_the_answer_says_how(missed: Clinic) -> None:
    missed.say("contact add K-017 --name Gulnara --phone 555-0118 --address 'Quay Road'")
    said = log(missed, "-w phone -o wrong")
    assert said[:4] == [
        "If it was 555-0118 of Gulnara, correct that; to empty it:",
        '    rehab contact change K-017/C1 --phone "" --why "wrong number"',
        "If it was +00 555 0117, correct that; to empty it:",
        '    rehab child change K-017 --phone "" --why "wrong number"',
    ]
    for line in (said[1], said[3]):
        missed.say(line.strip().removeprefix("rehab "))
    assert (shown(missed)["phone"], shown(missed)["contacts"][0]["phone"]) == ("", "")
    said = log(missed, "-w letter -o returned")
    assert said[1].strip() == 'rehab contact change K-017/C1 --address "" --why "returned"'


def test_a_text_without_consent_is_logged_as_what_happened_and_said_to_be_so(
    asel: Clinic,
) -> None:
    assert log(asel, "-w text -o sent")[0] == (
        "Mind that no consent to text messages is recorded for this family: ask for it."
    )
    asel.say("contact add K-017 --name Gulnara --text-consent no")
    asel.say("contact add K-017 --name Aibek")
    assert log(asel, "-w text -o sent")[:2] == [
        "Mind that Gulnara said no to text messages: ask before you write again.",
        "Mind that Aibek was not asked about text messages: ask before you write again.",
    ]
    assert len(shown(asel)["tries"]) == 2
    asel.say("contact change K-017/C2 --text-consent yes --why 'asked by phone'")
    assert not any("Mind" in line for line in log(asel, "-w text -o sent"))


def test_a_try_after_the_end_of_care_is_kept_and_the_desk_is_told(asel: Clinic) -> None:
    asel.say("child end K-017 'moved away' --on 2026-04-18")
    assert log(asel, "-w phone -o reached") == [
        "Mind that care here ended on 2026-04-18 (moved away): the recall list does not ask for "
        "this family."
    ]


def test_a_try_logged_by_a_slip_is_withdrawn_and_the_family_is_called_again(
    missed: Clinic,
) -> None:
    missed.say("appointment book K-017 2026-04-24")
    assert log(missed, "-w phone -o reached")[0].startswith("The loop is closed")
    missed.say("record withdraw K-017/T1 --why 'another family'")
    line = json.loads(missed.say("recall list --json"))[0]
    assert line["reasons"][0]["sentence"].startswith("new date 2026-04-24 not yet told")
    assert shown(missed)["tries"] == []


def test_children_who_live_together_share_a_word(asel: Clinic) -> None:
    said = asel.say("child add K-018 --name Aida --born 2024-02-11 --family temir")
    assert said.splitlines()[1] == "Children of the family temir: K-018."
    said = asel.say("child change K-017 --family temir --why 'they are sisters'")
    assert said.splitlines()[1] == "Children of the family temir: K-017, K-018."


@pytest.mark.both_databases
def test_a_family_says_what_a_school_may_be_told_and_may_change_its_mind(asel: Clinic) -> None:
    assert shown(asel)["sharing"] is None
    line = "contact agree K-017 --agreed-by 'Gulnara T'"
    assert asel.say(f"{line} --school sight --school operation --on 2026-04-13") == (
        "Recorded K-017/G1: a school may be told: operation, sight (agreed by Gulnara T, "
        "2026-04-13).\n"
    )
    assert asel.say(f"{line} --nothing") == (
        "Recorded K-017/G1: a school may be told: nothing more than patch and glasses (agreed by "
        "Gulnara T, 2026-04-20).\n"
    )
    kept = {"id": "K-017/G1", "on": "2026-04-20", "school": [], "agreed_by": "Gulnara T"}
    assert shown(asel)["sharing"] == kept
    assert json.loads(asel.say("child show K-017 --json"))["sharing"] == kept
    told = "K-017/G1: a school may be told: nothing more than patch and glasses (agreed by "
    assert told in asel.say("contact list K-017")
    assert told in asel.say("child show K-017")
    history = [(h["why"], h["what"]) for h in shown(asel, "--history")["history"][1:]]
    assert history == [
        ("", "a school may be told: operation, sight (agreed by Gulnara T, 2026-04-13)"),
        (
            "the family agreed to it",
            "a school may be told: nothing more than patch and glasses (agreed by Gulnara T, "
            "2026-04-20)",
        ),
    ]
    assert asel.refuse(f"{line} --nothing").startswith("K-017/G1: this is recorded so already.")


def test_what_was_agreed_by_a_slip_is_withdrawn_and_nothing_may_be_told(asel: Clinic) -> None:
    line = "contact agree K-017 --agreed-by 'Gulnara T' --school operation"
    asel.say(line)
    asel.say("record withdraw K-017/G1 --why 'another family'")
    assert shown(asel)["sharing"] is None
    assert asel.say(f"{line} --on 2026-04-01").startswith("Recorded K-017/G2: ")


MISUSED = {
    "agree K-017 --agreed-by A": "Give one of --school and --nothing.",
    "agree K-017 --agreed-by A --nothing --school sight": "Give one of --school and --nothing.",
    "agree K-017 --agreed-by A --school diagnosis": "'diagnosis' is not one of 'operation', 'sight",
    "agree K-017 --nothing": "Missing option '--agreed-by'",
    "change K-017/C1 --why x": "Give what changes, such as --phone.",
    "limits K-017": "Give what the family has stated, or --clear.",
    "limits K-017 --weekday T": "'T' is not one of: Monday, Tuesday",
    "limits K-017 --not-before 24:00": "'24:00' is no time of day, such as 10:00",
    "limits K-017 --distance 12": "'12' is not SITE=KM; write such as north=12",
    "limits K-017 --distance main=123456": "'main=123456' is not SITE=KM; write such as north=12",
    "log K-017 -w pigeon -o sent": "'pigeon' is not one of: phone call, text message",
    "log K-017 -w phone -o r": "'r' is not one of: reached, message left",
    "log K-017 -w phone -o no -n monday": "'monday' is not a day",
}


def test_a_line_that_cannot_be_understood_is_explained(clinic: Clinic) -> None:
    for line, words in MISUSED.items():
        assert words in clinic.misuse(f"contact {line}"), line


REFUSED = {
    "agree K-99 --nothing --agreed-by A": "nothing is recorded as K-99. Check the number.",
    "agree K-017 --nothing --agreed-by ' '": "K-017: ' ' is no name that can be printed.",
    "agree K-017 --nothing --agreed-by A --on 2026-04-21": "K-017: nobody can have agreed on",
    "add K-99 --name Gulnara": "K-99: no child has this number. Add the child first.",
    "add K-017 --name Gulnara --phone '+1=cmd'": "K-017: '+1=cmd' is no number that can be",
    "add K-017 --name 'a\x1b[2J'": "K-017: 'a\\x1b[2J' is no name that can be printed",
    "add K-017 --name Gulnara --who 'a\x1b[2J'": "--who: the text 'a\\x1b[2J' holds what cannot",
    "change K-017/C1 --phone 5550 --why x": "K-017/C1: no contact is recorded as this",
    "list K-99": "nothing is recorded as K-99. Check the number.",
    "log K-017 -w phone -o no -n +0": "K-017: the next try on 2026-04-20 is not after this one",
}


def test_what_is_refused_is_explained_and_nothing_is_written(asel: Clinic) -> None:
    before = asel.history("K-017")
    for line, words in REFUSED.items():
        assert asel.refuse(f"contact {line}").startswith(words), line
    assert asel.history("K-017") == before


def test_a_family_that_was_reached_counts_as_told_of_what_was_booked(asel: Clinic) -> None:
    """Said each time, since a family that rang off was reached and still knows nothing."""
    keep_diary(asel.home, HARBOUR, MONDAYS)
    asel.say("appointment book K-017 2026-04-27")
    asel.say("appointment book K-017 2026-05-04")
    asel.say("appointment outcome K-017 2026-05-04 'cancelled by clinic'")
    untold = "appointment 2026-04-27 at 09:00 (mondays) not yet told to the family"
    (line,) = json.loads(asel.say("recall list --json"))
    assert untold in [reason["sentence"] for reason in line["reasons"]]
    assert not any("told:" in said for said in log(asel, "-w phone -o message"))
    assert log(asel, "-w phone -o reached")[:2] == [
        "Counts as told: appointment 2026-04-27 at 09:00 (mondays).",
        "Counts as told: appointment 2026-05-04 at 09:00 (mondays) is cancelled.",
    ]
