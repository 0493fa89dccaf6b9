"""Stories a clinician can read: the files of tests/cases, facts in and calendar out."""

import itertools
import tomllib
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from rehab.care.plan import Plan, make_plan
from rehab.case_files import case_from
from rehab.table_files import read_protocol

CASES = Path(__file__).parents[1] / "cases"
STORIES = sorted(CASES.glob("*.toml"))


def told(path: Path) -> tuple[dict[str, Any], Plan]:
    story = tomllib.loads(path.read_text(encoding="utf-8"))
    protocol = read_protocol(CASES / story["tables"] if "tables" in story else None)
    days = [
        story["today"] + timedelta(days=n) for n in range((story["horizon"] - story["today"]).days)
    ]
    plan = make_plan(
        case_from(story["child"]),
        protocol,
        today=story["today"],
        horizon=story["horizon"],
        open_days=days,
    )
    return story, plan


@pytest.mark.parametrize("path", STORIES, ids=lambda path: path.stem)
def test_a_story_ends_as_its_source_says(path: Path) -> None:
    story, plan = told(path)
    expectations = story.get("expect", [])
    assert story["source"]
    assert expectations or story["occlusion"]
    for expected in expectations:
        checks = [
            check
            for check in plan.checks
            if (check.kind, check.eye) == (expected["kind"], expected["eye"])
            and check.because.row not in expected.get("leaving_out", [])
        ]
        assert [check.target for check in checks] == expected["targets"]
        if "statuses" in expected:
            assert [check.status for check in checks] == expected["statuses"]
    for expected in story.get("occlusion", []):
        spans = [span for span in plan.occlusion if span.eye == expected["eye"]]
        assert [[span.start, span.hours_per_day] for span in spans] == expected["hours"]
        joints = itertools.pairwise(spans)
        assert all(one.until == other.start for one, other in joints)
        assert spans[-1].until == story["horizon"]


@pytest.mark.parametrize("path", STORIES, ids=lambda path: path.stem)
def test_a_story_is_the_same_in_whatever_order_its_facts_came(path: Path) -> None:
    story, plan = told(path)
    shuffled = {
        name: value[::-1] if isinstance(value, list) else value
        for name, value in story["child"].items()
    }
    case = case_from(shuffled)
    protocol = read_protocol(CASES / story["tables"] if "tables" in story else None)
    days = [
        story["today"] + timedelta(days=n) for n in range((story["horizon"] - story["today"]).days)
    ]
    again = make_plan(
        case, protocol, today=story["today"], horizon=story["horizon"], open_days=days
    )
    assert again == plan


def test_the_day_3_review_says_that_it_has_no_source() -> None:
    _, plan = told(CASES / "zhongshan-review.toml")
    third = next(check for check in plan.checks if check.because.row == "third-day")
    assert third.target == date(2024, 1, 13)
    assert third.because.source == "assumption"
    assert "common practice, no source" in third.because.at


def test_the_published_dose_falls_at_8_months() -> None:
    """Eight months of age: half of 11.0 waking hours (Galland 2012) is 5.5, after 7 at 7 months."""
    _, plan = told(CASES / "patching-by-month.toml")
    hours = {span.start: span.hours_per_day for span in plan.occlusion}
    assert hours[date(2026, 10, 15)] == 7
    assert hours[date(2026, 11, 15)] == 5.5


def test_a_plan_asked_for_an_earlier_day_does_not_know_what_came_later() -> None:
    story, _ = told(CASES / "second-operation.toml")
    before = date(2026, 2, 1)
    case = case_from(story["child"])
    horizon = date(2026, 10, 1)
    days = [before + timedelta(days=n) for n in range((horizon - before).days)]
    protocol = read_protocol()
    plan = make_plan(case, protocol, today=before, horizon=horizon, open_days=days)
    known = replace(case, surgeries=case.surgeries[:1])
    assert plan == make_plan(known, protocol, today=before, horizon=horizon, open_days=days)
