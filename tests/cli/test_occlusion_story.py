"""Two years of occlusion of one invented infant, told in commands, each decision read back.

One eye is operated at seven weeks. The hours begin by age; they rest for sore skin, come back,
fall to what the family manages and rise again; the better eye loses two lines and occlusion stops
at once; it begins again with less, is tapered, stops, and the gain is lost and treated again.
"""

import json
import shutil
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import date, timedelta
from math import sqrt
from pathlib import Path
from typing import Any

import pytest

from rehab.care.changes import Entry, EntryKind, EntryState
from rehab.store.store import open_store
from tests.conftest import CLINIC_TOML, Clinic

BORN, BEGIN, END = date(2026, 2, 11), date(2026, 4, 13), date(2028, 4, 24)
PEOPLE = '[people]\n"S. Lindqvist" = "orthoptist"\n"M. Okoro" = "coordinator"\n'
WHO = '--who "S. Lindqvist"'


@dataclass(frozen=True)
class Visit:
    """A day: gratings of both eyes in cycles per degree, what was proposed, what was decided."""

    on: str
    right: str
    left: str
    proposed: str
    row: str
    decided: str
    asked: str = "--double-vision no --new-squint no --skin-reaction no"


def change(terms: str, why: str) -> str:
    return f'change K-017 {terms} --why "{why}"'


ACCEPT = "accept K-017"
VISITS = (
    Visit("2026-05-13", "1.0", "2.0", "continue", "first-visit", ACCEPT),
    Visit(
        *("2026-06-12", "1.3", "2.6", "change method", "skin-reaction"),
        'pause K-017 --why "the skin is open"',
        asked="--double-vision no --new-squint no --skin-reaction yes",
    ),
    Visit(
        *("2026-06-26", "1.3", "2.6", "a person decides", "nothing-against"),
        change("--by-age", "the skin has healed"),
    ),
    Visit("2026-07-10", "2.0", "3.2", "continue", "gain-in-noise", ACCEPT),
    Visit(
        *("2026-08-10", "2.0", "4.8", "support wear", "no-gain-poor-wear"),
        change("--hours 3", "what the family manages; a visit at home is arranged"),
    ),
    Visit(
        *("2026-09-10", "2.6", "4.8", "continue", "gain-in-noise"),
        change("--by-age", "the patch is worn now"),
    ),
    Visit("2026-10-12", "3.2", "6.4", "support wear", "no-gain-wear-unknown", ACCEPT),
    Visit("2026-11-12", "4.8", "6.4", "continue", "gain-in-noise", ACCEPT),
    Visit("2026-12-14", "4.8", "3.2", "stop", "two-lines", ACCEPT),
    Visit(
        *("2026-12-21", "4.8", "6.4", "go on watching", "held"),
        change("--hours 2", "the better eye is well again: fewer hours"),
    ),
    Visit("2027-01-21", "4.8", "6.4", "support wear", "no-gain-wear-unknown", ACCEPT),
    Visit("2027-02-22", "4.8", "6.4", "support wear", "no-gain-wear-unknown", ACCEPT),
    Visit(
        *("2027-04-22", "4.8", "6.4", "support wear", "infant-second-year"),
        change("--hours 3 --days-per-week 6", "no gain on two hours"),
    ),
    Visit("2027-06-22", "6.4", "9.6", "continue", "gain-in-noise", ACCEPT),
    Visit(
        *("2027-08-23", "9.6", "9.6", "continue", "gain-in-noise"),
        change("--hours 1 --taper", "both eyes see alike: step down before the end"),
    ),
    Visit(
        *("2027-10-25", "9.6", "9.6", "a person decides", "taper-goes-on"),
        'stop K-017 --on 2027-10-25 --why "held through the taper"',
    ),
    Visit("2028-01-24", "4.8", "9.6", "look again", "repeat", ACCEPT),
    Visit(
        *("2028-02-07", "4.8", "9.6", "treat again", "recurrence"),
        change("--hours 2", "the gain is lost at two looks: treated again"),
    ),
    Visit("2028-02-21", "4.8", "9.6", "support wear", "no-gain-wear-unknown", ACCEPT),
    Visit("2028-04-03", "6.4", "9.6", "continue", "gain-in-noise", ACCEPT),
)


def wear_file(folder: Path) -> Path:
    """Of the hours by age, half an hour a day is worn until the family is visited."""
    start, lines = date(2026, 6, 26), ["date,minutes"]
    for n in range((date(2026, 8, 10) - start).days):
        lines.append(f"{start + timedelta(days=n)},30")
    path = folder / "wear.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@dataclass(frozen=True)
class Told:
    """The clinic at the end, and the family's calendar as it stood after each day of decision."""

    clinic: Clinic
    calendars: tuple[tuple[date, tuple[Entry, ...]], ...]
    regimens: tuple[tuple[date, list[dict[str, Any]]], ...]
    proposals: tuple[dict[str, Any], ...]


@pytest.fixture(scope="module")
def told(new_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Told:
    folder = tmp_path_factory.mktemp("story")
    clinic = Clinic(shutil.copytree(new_home, folder / "clinic"))
    (clinic.home / "clinic.toml").write_text(CLINIC_TOML + PEOPLE)
    clinic.say('child add K-017 --name "Asel T" --born 2026-02-11')
    clinic.say(
        'surgery add K-017 --eye right --on 2026-03-30 --procedure "lens removal" '
        "--sutures absorbable"
    )
    clinic.say(
        "exam add K-017 --on 2026-04-06 --pressure right=14 --visual-axis right=clear "
        '--wears "right=contact lens" --cataract left=none --nystagmus none'
    )
    calendars: list[tuple[date, tuple[Entry, ...]]] = []
    regimens: list[tuple[date, list[dict[str, Any]]]] = []
    made: list[dict[str, Any]] = []

    def stands(on: str) -> None:
        with closing(open_store(clinic.database_url)) as store:
            calendars.append((date.fromisoformat(on), store.entries("K-017")))
        child = json.loads(clinic.say("child show K-017 --json"))
        regimens.append((date.fromisoformat(on), child["regimens"]))

    clinic.say(f"occlusion accept K-017 --today {BEGIN} {WHO}")
    stands(str(BEGIN))
    for visit in VISITS:
        today = f"--today {visit.on}"
        if visit.on == "2026-08-10":
            clinic.say(f"wear import K-017 {wear_file(folder)} {today}")
        clinic.say(
            f'exam add K-017 --on {visit.on} --acuity "right={visit.right} cpd" '
            f'--acuity "left={visit.left} cpd" --test "grating cards" {visit.asked} {today}'
        )
        made.append(json.loads(clinic.say(f"occlusion propose K-017 --json {today} {WHO}")))
        clinic.say(f"occlusion {visit.decided} {today} {WHO}")
        stands(visit.on)
    return Told(clinic, tuple(calendars), tuple(regimens), tuple(made))


def test_each_look_proposes_what_the_tables_say(told: Told) -> None:
    """The octave beyond retest: Mayer 1995; the rest as each row cites."""
    for visit, made in zip(VISITS, told.proposals, strict=True):
        rows = [because["row"] for because in made["because"]]
        assert (made["action"], visit.row in rows) == (visit.proposed, True), (visit.on, rows)


def minutes_by_age(on: date) -> int:
    """An hour for each completed month to 8 months, then half of the waking day, to the quarter.

    Drews-Botsch 2012 (abstract); sleep 10.49 - 5.56 x (sqrt(age / 10) - 0.71), Galland 2012.
    """
    months = (on.year - BORN.year) * 12 + on.month - BORN.month - (on.day < BORN.day)
    if months < 8:
        return 60 * months
    sleep = 10.49 - 5.56 * (sqrt(months / 120) - 0.71)
    return round((24 - sleep) / 2 * 4) * 15


def in_force(regimens: list[dict[str, Any]], on: date) -> set[tuple[str, int, int]]:
    """Eye, minutes and days a week of every regimen that runs on a day, as recorded."""
    day = on.isoformat()
    return {
        (r["occluded_eye"], r["minutes_per_day"] or minutes_by_age(on), r["days_per_week"])
        for r in regimens
        if r["starts"] <= day and day < (r["ends"] or "9999") and day < (r["paused_from"] or "9999")
    }


def written(entries: tuple[Entry, ...], on: date) -> set[tuple[str, int, int]]:
    return {
        (e.eye, e.minutes_per_day, e.days_per_week)
        for e in entries
        if e.kind is EntryKind.OCCLUSION
        and e.state is not EntryState.WITHDRAWN
        and e.start <= on < e.until
    }


def test_the_calendar_equals_the_regimen_in_force_on_each_day_of_two_years(told: Told) -> None:
    days_with_hours = 0
    until = [on for on, _ in told.calendars[1:]] + [END]
    for (on, entries), (_, regimens), end in zip(told.calendars, told.regimens, until, strict=True):
        for n in range((end - on).days):
            day = on + timedelta(days=n)
            running = in_force(regimens, day)
            assert len(running) <= 1, "never two regimens on one day"
            assert written(entries, day) == running, day
            days_with_hours += len(running)
    assert (END - BEGIN).days == 742
    assert days_with_hours == 742 - 14 - 7 - 105, "less the rest, the alarm and the watch"


def test_days_that_are_over_are_never_rewritten(told: Told) -> None:
    """What a family was asked to do on a day stands in every later calendar."""
    for (_, before), (on, after) in zip(told.calendars, told.calendars[1:], strict=False):
        for n in range((on - BEGIN).days):
            day = BEGIN + timedelta(days=n)
            assert written(after, day) == written(before, day), (on, day)


def test_an_event_keeps_its_identity_and_every_change_raises_its_sequence(told: Told) -> None:
    moved = withdrawn = 0
    for (_, before), (_, after) in zip(told.calendars, told.calendars[1:], strict=False):
        now = {entry.uid: entry for entry in after}
        for old in before:
            new = now[old.uid]
            same = (old.start, old.until, old.minutes_per_day, old.checks)
            changed = same != (new.start, new.until, new.minutes_per_day, new.checks)
            assert new.sequence > old.sequence if changed else new.sequence >= old.sequence
            moved += changed and new.state is EntryState.LIVE
            withdrawn += new.state is EntryState.WITHDRAWN is not old.state
    assert moved
    assert withdrawn


def test_six_changes_one_alarm_one_taper_and_one_recurrence_are_recorded(told: Told) -> None:
    regimens = told.regimens[-1][1]
    assert [(r["starts"], r["ends"], r["minutes_per_day"], r["tapering"]) for r in regimens] == [
        ("2026-04-13", "2026-06-26", None, False),
        ("2026-06-26", "2026-08-10", None, False),
        ("2026-08-10", "2026-09-10", 180, False),
        ("2026-09-10", "2026-12-14", None, False),
        ("2026-12-21", "2027-04-22", 120, False),
        ("2027-04-22", "2027-08-23", 180, False),
        ("2027-08-23", "2027-10-25", 60, True),
        ("2028-02-07", None, 120, False),
    ]
    assert [r["paused_from"] for r in regimens if r["paused_from"]] == ["2026-06-12"]
    assert all(r["review_on"] for r in regimens[:-2]), "every regimen had a look agreed"


def _reasons(told: Told) -> Iterator[str]:
    for visit in VISITS:
        if "--why" in visit.decided:
            yield visit.decided.partition('--why "')[2].strip('"')


def test_every_decision_can_be_read_back_with_its_reason(told: Told) -> None:
    shown = told.clinic.say(f"occlusion show K-017 --today {END}")
    for reason in _reasons(told):
        assert f"S. Lindqvist: {reason}\n" in shown
    course = json.loads(told.clinic.say(f"occlusion show K-017 --json --today {END}"))
    decided = [(p["on"], p["action"], p["decision"]) for p in course["proposals"]]
    accepted = {True: "accepted", False: "changed"}
    assert decided == [(v.on, v.proposed, accepted[v.decided == ACCEPT]) for v in VISITS]
    for made, kept in zip(told.proposals, course["proposals"], strict=True):
        assert made["because"] == kept["because"], "the rows and facts of the day, unchanged"
    states = [regimen["state"] for regimen in course["regimens"]]
    assert states == [*["changed"] * 3, "watched", *["changed"] * 2, "watched", "running"]


def test_the_alarm_can_be_explained_years_later(told: Told) -> None:
    said = told.clinic.say(f"plan why K-017 2026-12-14 --today {END}")
    assert "occlusion proposal K-017/P9: stop, accepted" in said
    assert "row two-lines" in said
    assert "fellow change two lines worse" in said
    assert "fellow eye down two lines or more: stop" in said


def test_the_course_can_be_drawn_with_its_words_beside(told: Told, tmp_path: Path) -> None:
    file = tmp_path / "K-017.svg"
    told.clinic.say(f"occlusion show K-017 --chart {file} --today {END}")
    drawn = file.read_text()
    assert drawn.count("<circle") == len(VISITS) + 1, "the treated eye, and the key"
    assert "The treated, right eye: 2026-05-13 1.48 logMAR by grating cards" in drawn
    assert "R8 from 2028-02-07." in drawn
