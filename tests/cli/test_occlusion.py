"""`rehab occlusion`: a person accepts or stops it; the program only proposes."""

import json
from typing import Any

import pytest

from tests.conftest import Clinic


def _spans(clinic: Clinic, today: str = "2026-04-20") -> list[dict[str, Any]]:
    plan: dict[str, Any] = json.loads(clinic.say(f"plan show K-017 --json --today {today}"))
    return list(plan["occlusion"])


def test_occlusion_that_was_accepted_keeps_the_hours_proposed_by_age(asel: Clinic) -> None:
    proposed = _spans(asel)
    said = asel.say('occlusion accept K-017 --who "S. Lindqvist" --why "lens worn all day"')
    assert said.startswith(
        "Recorded K-017/R1: adhesive patch for the left eye, 2 h a day at first, then by age, "
        "7 days a week from 2026-04-20, next look on 2026-05-20.\nThe family must be told again:\n"
        "    Added: occlusion of the left eye by adhesive patch, 2 h a day, 7 days a week, "
        "from 2026-04-20 to 2026-05-10.\n"
    )
    accepted = _spans(asel)
    assert all(span["accepted"] for span in accepted)
    for before, after in zip(proposed, accepted, strict=True):
        assert (before["hours_per_day"], before["from"]) == (after["hours_per_day"], after["from"])
    (regimen,) = json.loads(asel.say("child show K-017 --json"))["regimens"]
    assert (regimen["prescriber"], regimen["reason"]) == ("S. Lindqvist", "lens worn all day")


def test_the_orthoptist_may_set_fixed_hours_from_another_day(asel: Clinic) -> None:
    asel.say("occlusion accept K-017 --hours 1.5 --starts 2026-04-27")
    (regimen,) = json.loads(asel.say("child show K-017 --json"))["regimens"]
    assert (regimen["minutes_per_day"], regimen["starts"]) == (90, "2026-04-27")
    assert {span["hours_per_day"] for span in _spans(asel)} == {1.5}


@pytest.mark.parametrize("hours", ["0", "-2", "30", "nan", "inf", "two"])
def test_hours_that_no_one_would_prescribe_are_refused(asel: Clinic, hours: str) -> None:
    said = asel.misuse(f"occlusion accept K-017 --hours={hours}")
    assert "--hours" in said
    assert f"'{hours}' is not above 0 and at most 12 hours; write such as 1.5" in said
    assert json.loads(asel.say("child show K-017 --json"))["regimens"] == []


def test_occlusion_that_stopped_ends_the_day_before_and_acuity_is_watched(asel: Clinic) -> None:
    asel.say("occlusion accept K-017")
    said = asel.say('occlusion stop K-017 --on 2026-06-01 --why "equal at two visits"')
    assert said.startswith("Recorded K-017/R1: no occlusion from 2026-06-01.\n")
    assert _spans(asel)[-1]["until"] == "2026-06-01"
    later = json.loads(asel.say("plan show K-017 --json --today 2026-06-01"))
    assert "watch_after_stopping" in {check["kind"] for check in later["checks"]}


def test_stopping_needs_a_reason_and_something_to_stop(asel: Clinic) -> None:
    assert asel.refuse("occlusion stop K-017 --on 2026-06-01 --why equal") == (
        "K-017: no occlusion is running on 2026-06-01. Check the date."
    )
    assert asel.misuse("occlusion stop K-017 --on 2026-06-01") == "Missing option '--why'."
    asel.say("occlusion accept K-017")
    assert asel.refuse('occlusion stop K-017 --on 2026-06-01 --why " "') == (
        "K-017/R1: occlusion becomes stopped without a reason. Give the reason in your own words."
    )


def test_nothing_is_accepted_that_is_not_proposed(asel: Clinic) -> None:
    asel.say("occlusion accept K-017")
    assert asel.refuse("occlusion accept K-017") == (
        "K-017: no proposal of occlusion waits for a decision. "
        "Make one with: rehab occlusion propose K-017"
    )
