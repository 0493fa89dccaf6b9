"""`rehab protocol`: the tables are listed, printed, proven and asked, before any clinic exists."""

import json
import shutil
from pathlib import Path

import pytest

from rehab.table_files import BUILT_IN
from tests.conftest import Clinic

DECISIONS = {path.stem for path in BUILT_IN.glob("*.toml")}


def test_every_decision_is_listed_with_edition_and_question(clinic: Clinic) -> None:
    lines = clinic.say("protocol list").splitlines()
    assert lines[0].split() == ["DECISION", "EDITION", "QUESTION"]
    assert {line.split()[0] for line in lines[1:]} == DECISIONS
    listed = json.loads(clinic.say("protocol list --json"))
    assert all(one.keys() == {"decision", "edition", "question", "table"} for one in listed)
    assert {one["decision"] for one in listed} == DECISIONS


def test_the_tables_can_be_read_before_there_is_a_clinic(tmp_path: Path) -> None:
    nowhere = Clinic(tmp_path / "nowhere")
    assert {line.split()[0] for line in nowhere.say("protocol list").splitlines()[1:]} == DECISIONS
    assert not nowhere.home.exists()


def test_a_decision_is_printed_with_its_rows_and_sources(clinic: Clinic) -> None:
    shown = clinic.say("protocol show suture_review")
    table = json.loads(
        clinic.say("protocol ask suture_review days_since_surgery=10 sutures=absorbable --json")
    )
    assert table["because"]["row"] in shown
    assert table["because"]["source"] in shown


def test_the_whole_protocol_is_proven_and_its_assumptions_counted(clinic: Clinic) -> None:
    lines = clinic.say("protocol check").splitlines()
    counts = [line.split() for line in lines[1:-1]]
    assert {row[0] for row in counts} == DECISIONS
    assumed = sum(int(row[3]) for row in counts)
    assert assumed > 0
    assert lines[-1] == (
        f"All {len(DECISIONS)} decisions are whole. {assumed} rows are assumptions: review them."
    )


def test_a_file_is_proven_alone(clinic: Clinic) -> None:
    said = clinic.say(f"protocol check '{BUILT_IN / 'catch_up.toml'}'")
    assert said.startswith("catch_up.toml: whole; ")
    assert said.endswith("cells, each exactly once.\n")


def test_an_answer_names_its_row_and_its_source(clinic: Clinic) -> None:
    answer = json.loads(
        clinic.say("protocol ask suture_review days_since_surgery=10 sutures=absorbable --json")
    )
    assert answer["outcome"] in ("then", "nothing", "refer")
    assert answer["because"]["facts"] == {"days_since_surgery": 10, "sutures": "absorbable"}
    printed = clinic.say("protocol ask suture_review days_since_surgery=10 sutures=absorbable")
    assert f"row {answer['because']['row']}" in printed
    assert answer["because"]["citation"] in printed


def test_where_the_tables_are_silent_a_clinician_decides(clinic: Clinic) -> None:
    said = clinic.say(
        "protocol ask occlusion_start laterality=bilateral corrected_age_months=12 "
        "nystagmus=latent fixation_preference=equal correction=glasses "
        "acuity_difference_hundredths=unknown weeks_in_correction=3"
    )
    assert said.startswith("A clinician decides: A full patch can worsen latent nystagmus")


def test_a_fact_that_is_no_input_is_refused_with_those_that_are(clinic: Clinic) -> None:
    said = clinic.refuse("protocol ask pressure_check days=10")
    assert said.startswith("pressure_check: 'days=10' is not an input of this decision.")
    assert "Its inputs: days_since_surgery (" in said


def test_an_unknown_decision_is_refused_with_those_that_are_known(clinic: Clinic) -> None:
    said = clinic.refuse("protocol show tea_break")
    assert said.startswith("tea_break is not a decision of this protocol. It has: ")


def test_a_clinic_s_own_table_takes_the_place_of_the_built_in_one(clinic: Clinic) -> None:
    own = Path(shutil.copy(BUILT_IN / "catch_up.toml", clinic.home / "tables"))
    before = clinic.say("protocol list --json")
    own.write_text(own.read_text().replace('question  = "', 'question  = "Here: ', 1))
    changed = {
        one["decision"]: one["question"]
        for one in json.loads(clinic.say("protocol list --json"))
        if one not in json.loads(before)
    }
    assert list(changed) == ["catch_up"]
    assert changed["catch_up"].startswith("Here: ")


@pytest.mark.parametrize("number", ["--200", "٢٠٠", "9" * 5000, "1234567890", "+200"])
def test_only_a_plain_whole_number_is_taken_for_one(clinic: Clinic, number: str) -> None:
    said = clinic.refuse(
        f"protocol ask pressure_check days_since_surgery={number} age_at_surgery_days=45"
    )
    assert "days_since_surgery" in said


def test_the_same_fact_told_twice_is_refused(clinic: Clinic) -> None:
    said = clinic.refuse(
        "protocol ask pressure_check days_since_surgery=200 days_since_surgery=300"
    )
    assert said == "pressure_check: days_since_surgery is told twice. Give it once."
