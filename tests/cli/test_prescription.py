"""`rehab prescription`: recorded word for word by a doctor, shown as written, over when over."""

import json
from typing import Any

import pytest
from click.testing import CliRunner

from rehab.cli.main import rehab
from tests.conftest import CLINIC_TOML, TODAY, Clinic

pytestmark = pytest.mark.both_databases

PEOPLE = """
[people]
"S. Lindqvist" = "orthoptist"
"Dr R. Haddad" = "doctor"
"""
ADD = "prescription add K-017 --on 2026-04-13 --until 2026-05-11 --prescriber 'Dr R. Haddad'"
WORDS = "Drops, right eye:\n  as on the clinic's drop card no. 3 <b>"


def recorded(clinic: Clinic) -> Any:
    return json.loads(clinic.say("prescription list K-017 --json"))


def test_a_prescription_is_recorded_and_shown_word_for_word(asel: Clinic) -> None:
    said = asel.say(f'{ADD} --text "{WORDS}"')
    shown = "    Drops, right eye:\n      as on the clinic's drop card no. 3 <b>\n"
    assert said == f"Recorded K-017/D1, which letters print until 2026-05-11:\n{shown}"
    listed = "K-017/D1  2026-04-13 until 2026-05-11, prescribed by Dr R. Haddad\n"
    assert asel.say("prescription list K-017") == listed + shown
    assert recorded(asel) == [
        {
            "id": "K-017/D1",
            "on": "2026-04-13",
            "until": "2026-05-11",
            "text": WORDS,
            "prescriber": "Dr R. Haddad",
        }
    ]
    assert json.loads(asel.say("child show K-017 --json"))["prescriptions"] == recorded(asel)
    assert (
        "2026-04-13  K-017/D1  prescribed until 2026-05-11 by Dr R. Haddad: Drops, right eye: /   "
        "as on the clinic's drop card no. 3 <b>\n"
    ) in asel.say("child show K-017")


def test_one_that_is_over_says_so(asel: Clinic) -> None:
    assert asel.say("prescription list K-017") == "No prescription is recorded.\n"
    asel.say(f"{ADD} --text drops")
    assert "(over)" not in asel.say("prescription list K-017 --today 2026-05-11")
    assert "until 2026-05-11 (over), pres" in asel.say("prescription list K-017 --today 2026-05-12")


def test_a_text_comes_from_a_file_or_is_typed_in(asel: Clinic) -> None:
    file = asel.home / "drops.txt"
    file.write_bytes("\ufeffAlso: 5 µl\r\nनीचे\r\n".encode())
    asel.say(f"{ADD} --file '{file}'")
    line = ["--home", str(asel.home), "prescription", "add", "K-017", "--on", TODAY]
    line += ["--until", TODAY, "--prescriber", "Dr H", "--who", "Dr H", "--today", TODAY]
    typed = CliRunner().invoke(rehab, [*line, "--file", "-"], input="Typed\nin\n")
    assert typed.exit_code == 0, typed.output
    assert [p["text"] for p in recorded(asel)] == ["Also: 5 µl\nनीचे", "Typed\nin"]


def test_a_file_that_is_no_text_is_refused(asel: Clinic) -> None:
    file = asel.home / "drops.txt"
    for content in (b"\xff\xfe\x00", b"x" * 200_000):
        file.write_bytes(content)
        assert asel.refuse(f"{ADD} --file '{file}'") == (
            "K-017: the file is no text in UTF-8, or far too long for a prescription. Save it as "
            "plain text in UTF-8, with the words of the prescription alone."
        )
    assert recorded(asel) == []


def test_a_wrong_one_is_corrected_with_a_reason_and_both_stay(asel: Clinic) -> None:
    asel.say(f"{ADD} --text 'left eye'")
    assert "needs a reason" in asel.refuse(f"{ADD} --text 'right eye' --corrects K-017/D1")
    said = asel.say(f"{ADD} --text 'right eye' --corrects K-017/D1 --why 'wrong eye'")
    assert said.startswith("Recorded K-017/D1, which letters print until")
    assert [p["text"] for p in recorded(asel)] == ["right eye"]
    versions = [v for v in json.loads(asel.say("record history K-017 --json")) if "/D" in v["key"]]
    assert [(v["version"], v["why"]) for v in versions] == [(1, ""), (2, "wrong eye")]


def test_one_that_was_withdrawn_is_printed_no_more_and_its_number_means_no_other(
    asel: Clinic,
) -> None:
    asel.say(f"{ADD} --text drops")
    asel.say("record withdraw K-017/D1 --why 'another child' --who 'A nurse'")
    assert recorded(asel) == []
    said = asel.refuse(f"{ADD} --text drops --corrects K-017/D1 --why x")
    assert said == (
        "K-017/D1: no prescription of K-017 is recorded as this, or it was withdrawn. "
        "See which there are: rehab prescription list K-017"
    )
    assert "Recorded K-017/D2" in asel.say(f"{ADD} --text drops")


def test_a_child_with_a_prescription_is_not_withdrawn_by_a_slip(clinic: Clinic) -> None:
    clinic.say("child add K-017 --name A --born 2026-02-11")
    clinic.say(f"{ADD} --text drops")
    assert "facts are recorded" in clinic.refuse("record withdraw K-017 --why slip")


def test_where_people_are_named_only_a_doctor_records_a_prescription(asel: Clinic) -> None:
    (asel.home / "clinic.toml").write_text(CLINIC_TOML + PEOPLE)
    for who, has in (
        ("S. Lindqvist", "orthoptist"),
        ("M. Okoro", "without a role in this clinic"),
    ):
        assert asel.refuse(f"{ADD} --text drops --who '{who}'") == (
            f"K-017: {who} ({has}) cannot record a prescription. "
            "Let a doctor named under [people] in clinic.toml record it."
        )
    asel.say(f"{ADD} --text drops --who 'Dr R. Haddad'")
    said = asel.refuse(f"{ADD} --text other --corrects K-017/D1 --why x --who 'S. Lindqvist'")
    assert "cannot record a prescription" in said
    assert [p["text"] for p in recorded(asel)] == ["drops"]


REFUSED = {
    "--text ''": "K-017: the prescription says nothing.",
    f"--text '{'x' * 501}'": "K-017: the prescription has 501 characters, more than the 500",
    "--text 'a\x1b[2J'": "K-017: line 1 of the prescription holds U+001B",
    "--text 'a\nb\u202ec'": "K-017: line 2 of the prescription holds U+202E",
    "--text drops --until 2026-04-12": "K-017: the prescription of 2026-04-13 would end before",
    "--text drops --on 2026-04-21": "K-017: the prescription of 2026-04-21 lies outside",
    "--text drops --on 2026-02-10": "K-017: the prescription of 2026-02-10 lies outside",
}


def test_what_is_refused_is_explained_and_nothing_is_written(asel: Clinic) -> None:
    before = asel.history("K-017")
    for more, words in REFUSED.items():
        assert asel.refuse(f"{ADD} {more}").startswith(words), more
    assert asel.refuse(f"{ADD.replace('K-017', 'K-99')} --text a").startswith("nothing is recorded")
    assert asel.refuse("prescription list K-99").startswith("nothing is recorded as K-99")
    assert asel.history("K-017") == before


def test_the_same_prescription_is_not_recorded_twice(asel: Clinic) -> None:
    asel.say(f'{ADD} --text "{WORDS}"')
    assert asel.refuse(f'{ADD} --text "{WORDS}"') == (
        "K-017/D1: this prescription (2026-04-13, Drops, right eye: as on the clinic's drop card "
        "no. 3 <b>) is already recorded. To change it, correct K-017/D1; if it was entered in "
        "error, withdraw it."
    )


def test_one_text_is_needed_from_one_place(asel: Clinic) -> None:
    assert asel.misuse(ADD) == "Give one of --text and --file."
    file = asel.home / "clinic.toml"
    assert asel.misuse(f"{ADD} --text a --file '{file}'") == "Give one of --text and --file."
