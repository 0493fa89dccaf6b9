"""`rehab appointment`: a visit is booked, and what became of it is recorded."""

import json
from typing import Any

import pytest

from tests.conftest import Clinic

pytestmark = pytest.mark.both_databases


def _plan(clinic: Clinic, today: str = "2026-04-20") -> dict[str, Any]:
    plan: dict[str, Any] = json.loads(clinic.say(f"plan show K-017 --json --today {today}"))
    return plan


def test_a_visit_that_was_booked_stays_where_it_is(asel: Clinic) -> None:
    suggested = _plan(asel)["visits"][1]
    assert not suggested["booked"]
    last = suggested["latest"]
    assert last != suggested["date"]
    assert asel.say(f"appointment book K-017 {last} --told phone") == (
        "Recorded K-017/A1.\nThe family knows (phone call).\n"
    )
    booked = [visit for visit in _plan(asel)["visits"] if visit["booked"]]
    assert [visit["date"] for visit in booked] == [last]


def test_a_child_who_was_not_brought_comes_on_the_recall_list(asel: Clinic) -> None:
    asel.say("appointment book K-017 2026-04-24")
    said = asel.say('appointment outcome K-017 2026-04-24 "was not brought" --today 2026-04-24')
    assert said == "Recorded K-017/A1: was not brought.\n"
    (line,) = json.loads(asel.say("recall list --json --today 2026-04-27"))
    assert line["times_not_brought"] == 1
    assert {"kind": "was not brought", "sentence": "was not brought (2026-04-24)"} in line[
        "reasons"
    ]


def test_what_was_booked_stays_in_the_history_with_who_and_why(asel: Clinic) -> None:
    asel.say("appointment book K-017 2026-04-24")
    asel.say('appointment outcome K-017 2026-04-24 "cancelled by family" --who "S. Lindqvist"')
    told = [(v.version, v.stamp.by, v.stamp.reason) for v in asel.history("K-017")][-2:]
    assert told == [
        (1, "M. Okoro", ""),
        (2, "S. Lindqvist", "outcome: cancelled by family"),
    ]


@pytest.mark.parametrize("what", ["attended", "was not brought"])
def test_an_outcome_cannot_be_known_before_the_day(asel: Clinic, what: str) -> None:
    asel.say("appointment book K-017 2026-05-04")
    assert asel.refuse(f'appointment outcome K-017 2026-05-04 "{what}"') == (
        "K-017: the appointment on 2026-05-04 has not been yet (today is 2026-04-20). "
        "Check the date, or give --today."
    )
    assert [
        a["outcome"] for a in json.loads(asel.say("child show K-017 --json"))["appointments"]
    ] == ["booked"]


def test_a_day_without_an_appointment_has_no_outcome(asel: Clinic) -> None:
    assert asel.refuse("appointment outcome K-017 2026-04-13 attended") == (
        "K-017: no appointment on 2026-04-13. Check the date."
    )


def test_the_same_day_is_not_booked_twice(asel: Clinic) -> None:
    asel.say("appointment book K-017 2026-05-04")
    said = asel.refuse("appointment book K-017 2026-05-04")
    assert said.startswith("K-017/A1: this appointment (2026-05-04, booked) is already recorded.")


def test_an_appointment_before_birth_is_refused(asel: Clinic) -> None:
    assert asel.refuse("appointment book K-017 2025-05-04") == (
        "K-017: the appointment on 2025-05-04 is before the birth on 2026-02-11. Check both dates."
    )


def test_a_days_outcomes_are_recorded_at_once_and_who_was_not_brought_is_to_be_rung(
    asel: Clinic,
) -> None:
    for number in ("L-1", "L-2"):
        asel.say(f"child add {number} --name Bo --born 2026-02-11")
        asel.say(f"appointment book {number} 2026-04-24")
    asel.say("appointment book K-017 2026-04-24")
    asel.say('appointment outcome L-2 2026-04-24 "cancelled by family"')
    shown = asel.say("appointment settle 2026-04-24 --today 2026-04-24").splitlines()
    assert shown[:2] == ["K-017  Asel T", "L-1  Bo"]
    assert shown[2].startswith("2 booked on 2026-04-24. Nothing is recorded yet: count who came")
    assert asel.refuse("appointment settle 2026-04-24 --attended 1 --today 2026-04-24") == (
        "2026-04-24: 2 were booked and 0 of them are named as not brought, so 1 cannot have "
        "attended. Nothing was recorded. Compare the list of that day with who came."
    )
    said = asel.say(
        "appointment settle 2026-04-24 --not-brought K-017 --attended 1 --today 2026-04-24"
    )
    assert said.splitlines() == [
        "K-017  was not brought",
        "L-1  attended",
        "1 attended, 1 not brought.",
        "Ring them today: rehab recall list",
    ]
    assert asel.say(
        "appointment settle 2026-04-24 --attended 0 --today 2026-04-24"
    ).splitlines() == ["0 attended, 0 not brought."]


def test_of_who_was_not_booked_nothing_is_recorded_for_anyone(asel: Clinic) -> None:
    asel.say("appointment book K-017 2026-04-24")
    assert asel.refuse(
        "appointment settle 2026-04-24 --not-brought L-1 --attended 0 --today 2026-04-24"
    ) == (
        "2026-04-24: L-1 had no appointment that is still open. "
        "Nothing was recorded. Check the numbers and the day."
    )
    assert asel.refuse("appointment settle 2026-04-24 --attended 1").startswith(
        "K-017: the appointment on 2026-04-24 has not been yet"
    )
