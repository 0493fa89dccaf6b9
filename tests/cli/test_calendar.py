"""`rehab calendar`: a family's calendar file is written whole, and follows the plan."""

import json
import os
from pathlib import Path

from icalendar import Calendar

from tests.conftest import Clinic


def test_the_calendar_holds_the_visits_of_the_plan_and_names_nobody(
    asel: Clinic, tmp_path: Path
) -> None:
    out = tmp_path / "for family" / "asel.ics"
    assert asel.say(f"calendar export K-017 --out '{out}'") == f"Wrote {out}.\n"
    visits = json.loads(asel.say("plan show K-017 --json"))["visits"]
    starts = [str(event.DTSTART) for event in Calendar.from_ical(out.read_bytes()).events]
    assert starts == [visit["earliest"] for visit in visits]
    assert b"Asel" not in out.read_bytes()
    assert b"K-017" not in out.read_bytes()


def test_the_same_plan_gives_the_same_bytes(asel: Clinic, tmp_path: Path) -> None:
    first, second = tmp_path / "first.ics", tmp_path / "second.ics"
    asel.say(f"calendar export K-017 --out {first}")
    asel.say(f"calendar export K-017 --out {second}")
    assert first.read_bytes() == second.read_bytes()


def test_hours_come_into_the_calendar_only_once_a_person_accepted_them(
    asel: Clinic, tmp_path: Path
) -> None:
    out = tmp_path / "asel.ics"
    asel.say(f"calendar export K-017 --out {out}")
    assert b"Patch" not in out.read_bytes()
    asel.say("occlusion accept K-017")
    asel.say(f"calendar export K-017 --out {out}")
    assert b"SUMMARY:Patch 2 h (left eye covered)" in out.read_bytes()


def test_without_a_place_the_file_is_named_after_the_child_here(
    asel: Clinic, tmp_path: Path
) -> None:
    before = Path.cwd()
    os.chdir(tmp_path)
    try:
        assert asel.say("calendar export K-017") == "Wrote K-017.ics.\n"
    finally:
        os.chdir(before)
    assert (tmp_path / "K-017.ics").read_bytes().startswith(b"BEGIN:VCALENDAR\r\n")


def test_a_place_that_cannot_be_written_is_told(asel: Clinic, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file, not a folder")
    said = asel.refuse(f"calendar export K-017 --out {tmp_path / 'taken' / 'K-017.ics'}")
    assert said.startswith(f"{tmp_path / 'taken' / 'K-017.ics'}: cannot be written: ")
    assert said.endswith("Choose another place.")
