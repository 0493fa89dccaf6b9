"""`rehab plan`: what falls due, why, and what changed since the last time."""

import json
from typing import Any

from click.testing import CliRunner
from freezegun import freeze_time

from rehab.cli.main import rehab
from tests.conftest import Clinic

BECAUSE = {"decision", "edition", "row", "source", "at"}


def _plan(clinic: Clinic, more: str = "") -> dict[str, Any]:
    plan: dict[str, Any] = json.loads(clinic.say(f"plan show K-017 --json {more}"))
    return plan


def test_a_plan_shows_visits_what_is_overdue_and_what_a_person_must_settle(asel: Clinic) -> None:
    lines = asel.say("plan show K-017").splitlines()
    assert lines[0] == "K-017  Asel T  born Wed 11 Feb 2026  plan of Mon 20 Apr 2026"
    heads = [line for line in lines if line and not line.startswith(" ")]
    assert heads[1:] == [
        "VISITS (a suggestion until booked)",
        "OVERDUE",
        "OCCLUSION",
        "FOR A PERSON TO SETTLE",
        "The tool proposes; a clinician decides. Why a date: rehab plan why CHILD DATE",
    ]
    first_hours = next(line for line in lines if "eye covered" in line)
    assert first_hours.split("  ")[1:3] == [
        "Mon 20 Apr 2026 to Sun 10 May 2026",
        "left eye covered",
    ]
    assert first_hours.endswith("PROPOSED, not accepted")


def test_a_plan_as_json_holds_every_check_with_its_window_and_its_reason(asel: Clinic) -> None:
    plan = _plan(asel)
    assert plan.keys() == {
        "child", "today", "horizon", "checks", "visits", "occlusion", "problems", "flags",
    }  # fmt: skip
    assert (plan["child"], plan["today"]) == ("K-017", "2026-04-20")
    for check in plan["checks"]:
        assert check.keys() == {
            "key", "kind", "eye", "earliest", "target", "latest", "by", "status", "because"
        }  # fmt: skip
        assert check["earliest"] <= check["target"] <= check["latest"] <= check["by"]
        assert check["because"].keys() >= BECAUSE
        assert check["because"]["decision"] == check["kind"]
    assert {check["status"] for check in plan["checks"]} == {"planned", "overdue"}


def test_every_visit_names_checks_of_the_plan_and_lies_in_their_windows(asel: Clinic) -> None:
    plan = _plan(asel)
    checks = {check["key"]: check for check in plan["checks"]}
    assert plan["visits"]
    for visit in plan["visits"]:
        assert visit.keys() == {"date", "earliest", "latest", "booked", "checks"}
        assert visit["checks"]
        for key in visit["checks"]:
            assert checks[key]["earliest"] <= visit["date"] <= checks[key]["by"]


def test_occlusion_as_json_has_hours_days_and_their_source(asel: Clinic) -> None:
    spans = _plan(asel)["occlusion"]
    assert spans
    for span, following in zip(spans, [*spans[1:], None], strict=True):
        assert span.keys() == {
            "from", "until", "eye", "hours_per_day", "days_per_week", "method", "accepted",
            "because",
        }  # fmt: skip
        assert (span["eye"], span["accepted"]) == ("left", False)
        assert span["because"].keys() >= BECAUSE
        assert following is None or following["from"] == span["until"]


def test_a_problem_as_json_says_what_and_what_to_do(asel: Clinic) -> None:
    (problem,) = _plan(asel)["problems"]
    assert problem.keys() == {"kind", "about", "eye", "what", "do", "because"}
    assert (problem["about"], problem["eye"]) == ("occlusion_start", "right")
    assert "rehab occlusion accept K-017" in problem["do"]


def test_the_reason_of_a_date_cites_row_source_and_facts(asel: Clinic) -> None:
    asked = _plan(asel)["visits"][1]["date"]
    lines = asel.say(f"plan why K-017 {asked}").splitlines()
    reason = dict(line.split(maxsplit=1) for line in lines[1:6])
    assert lines[0].endswith("(planned)")
    assert list(reason) == ["decision", "counted", "facts", "source", "place"]
    assert "edition 2000-01-01, row" in reason["decision"]
    assert "lens removal of the right eye on 2026-03-30" in reason["counted"]
    told = json.loads(asel.say(f"plan why K-017 {asked} --json"))
    assert [one["what"] for one in told] == [line for line in lines if not line.startswith(" ")]
    assert all(one["because"].keys() >= BECAUSE for one in told)


def test_a_day_on_which_nothing_falls_has_no_reason(asel: Clinic) -> None:
    assert asel.refuse("plan why K-017 2026-03-01") == (
        "K-017: nothing in the plan falls on 2026-03-01. See its dates with: rehab plan show K-017"
    )


def test_a_plan_made_anew_tells_only_what_changed(asel: Clinic) -> None:
    head, *added, last = asel.say("plan refresh --all").splitlines()
    assert head == f"K-017: {len(added)} changes"
    assert all(line.startswith("    Added: visit on ") for line in added)
    assert last == "Plans out of date, and made anew: 1."
    assert asel.say("plan refresh --all") == "Plans out of date, and made anew: 0.\n"
    assert asel.say("plan refresh K-017") == "K-017: nothing changed\n"
    booked = _plan(asel)["visits"][1]["date"]
    asel.say(f"appointment book K-017 {booked}")
    head, moved = asel.say("plan refresh K-017").splitlines()
    assert head == "K-017: 1 change"
    assert moved.startswith(f"    Moved: visit on {booked} (any day from ")
    assert f"; now appointment on {booked} for " in moved


def test_refreshing_needs_one_child_or_all_and_not_both(asel: Clinic) -> None:
    for line in ("plan refresh", "plan refresh K-017 --all"):
        assert asel.misuse(line) == "Name one child, or give --all."


def test_the_clock_is_only_the_default_of_today(asel: Clinic) -> None:
    words = ["--home", str(asel.home), "plan", "show", "K-017", "--json"]
    given = CliRunner().invoke(rehab, [*words, "--today", "2026-05-11"])
    with freeze_time("2026-05-11"):
        from_the_clock = CliRunner().invoke(rehab, words)
    with freeze_time("2027-01-01"):
        still_given = CliRunner().invoke(rehab, [*words, "--today", "2026-05-11"])
    assert json.loads(given.stdout)["today"] == "2026-05-11"
    assert given.stdout == from_the_clock.stdout == still_given.stdout
