"""Errors in the records: corrected or withdrawn by a named person, never overwritten."""

import json

from tests.conftest import Clinic


def test_a_pressure_typed_wrongly_is_corrected_and_both_versions_stay(asel: Clinic) -> None:
    asel.say("exam add K-017 --on 2026-04-18 --pressure right=14")
    key = json.loads(asel.say("child show K-017 --json"))["examinations"][-1]["id"]
    asel.say(f"exam add K-017 --on 2026-04-18 --pressure right=41 --corrects {key} --why 'misread'")
    shown = json.loads(asel.say("child show K-017 --json"))["examinations"]
    assert [e["findings"][0]["pressure_mmhg"] for e in shown if e["id"] == key] == [41]
    versions = [v for v in json.loads(asel.say("record history K-017 --json")) if v["key"] == key]
    assert [(v["version"], v["why"]) for v in versions] == [(1, ""), (2, "misread")]


def test_a_correction_needs_a_reason(asel: Clinic) -> None:
    asel.say("exam add K-017 --on 2026-04-18 --pressure right=14")
    said = asel.refuse("exam add K-017 --on 2026-04-18 --pressure right=15 --corrects K-017/X2")
    assert "reason" in said


def test_what_belongs_to_another_child_is_withdrawn(asel: Clinic) -> None:
    asel.say("exam add K-017 --on 2026-04-18 --pressure right=38")
    assert "38 mmHg" in asel.say("plan show K-017")
    asel.say("record withdraw K-017/X2 --why 'another child'")
    assert "38 mmHg" not in asel.say("plan show K-017")
    assert "withdrawn" in asel.say("record history K-017")
    assert "already withdrawn" in asel.refuse("record withdraw K-017/X2 --why again")


def test_an_operation_that_others_rest_on_is_not_withdrawn_alone(asel: Clinic) -> None:
    asel.say("surgery add K-017 --eye right --on 2026-04-19 --procedure 'secondary implant'")
    before = asel.history("K-017")
    said = asel.refuse("record withdraw K-017/S1 --why 'wrong eye'")
    assert "so secondary implant on 2026-04-19 cannot be" in said
    assert asel.history("K-017") == before


def test_an_ending_recorded_by_mistake_is_withdrawn(asel: Clinic) -> None:
    asel.say("child end K-017 died --on 2026-04-19")
    assert json.loads(asel.say("plan show K-017 --json"))["visits"] == []
    asel.say("record withdraw K-017/E1 --why slip")
    assert json.loads(asel.say("plan show K-017 --json"))["visits"]


def test_a_child_with_facts_is_not_withdrawn_by_a_slip(asel: Clinic) -> None:
    assert "facts are recorded" in asel.refuse("record withdraw K-017 --why slip")


def test_the_outcome_goes_to_the_booking_that_stands(asel: Clinic) -> None:
    for day in range(1, 10):
        asel.say(f"appointment book K-017 2026-03-0{day}")
    asel.say("appointment outcome K-017 2026-03-09 'cancelled by family'")
    asel.say("appointment book K-017 2026-03-09")
    assert "K-017/A10" in asel.say("appointment outcome K-017 2026-03-09 attended")


def test_one_child_that_cannot_be_planned_keeps_no_other_off_the_list(asel: Clinic) -> None:
    asel.say("child add M-1 --name Mika --born 2025-05-19")
    asel.say("surgery add M-1 --eye R --on 2025-07-08 --procedure 'lens removal with implant'")
    asel.say("exam add M-1 --on 2025-08-02 --refraction right=-40.00")
    asel.say("exam add M-1 --on 2025-10-02 --refraction right=+6.00")
    listed = {line["child"] for line in json.loads(asel.say("recall list --json"))}
    assert {"K-017", "M-1"} <= listed
    assert "do not fit an eye" in asel.say("plan show M-1")
    asel.say("plan refresh --all")


def test_two_values_for_one_eye_are_not_one_value(asel: Clinic) -> None:
    said = asel.refuse("exam add K-017 --on 2026-04-18 --pressure right=14 --pressure right=40")
    assert "pressure is given twice: 14 and 40" in said


def test_an_operation_entered_late_must_fit_what_was_found_after_it(asel: Clinic) -> None:
    asel.say("exam add K-017 --on 2026-04-18 --lens-status left=phakic")
    said = asel.refuse("surgery add K-017 --eye left --on 2026-04-10 --procedure 'lens removal'")
    assert "K-017/X2: the left eye is aphakic" in said
    asel.say("surgery add K-017 --eye left --on 2026-04-18 --procedure 'lens removal'")
