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
