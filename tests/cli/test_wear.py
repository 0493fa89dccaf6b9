"""`rehab wear`: what a family or a monitor tells is kept, counted honestly, and never guessed."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import Clinic

LATER = "--today 2026-05-04"


@pytest.fixture
def occluded(asel: Clinic) -> Clinic:
    """K-017 on 2 hours a day from 20 April 2026."""
    asel.say("occlusion accept K-017")
    return asel


def shown(clinic: Clinic) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(clinic.say(f"wear show K-017 --json {LATER}"))
    return found


def diary(tmp_path: Path, *lines: str, header: str = "date,minutes") -> Path:
    path = tmp_path / "wear.csv"
    path.write_text("\n".join((header, *lines)) + "\n", encoding="utf-8")
    return path


def test_a_day_is_recorded_and_a_correction_supersedes_it_with_its_reason(
    occluded: Clinic,
) -> None:
    assert occluded.say(f"wear add K-017 2026-04-21 --minutes 90 {LATER}") == (
        "1 new, 0 corrected, 0 unchanged.\n"
    )
    assert occluded.refuse(f"wear add K-017 2026-04-21 --minutes 60 {LATER}") == (
        "K-017/W20260421: a change of what was recorded needs a reason. Say why."
    )
    assert occluded.say(f'wear add K-017 2026-04-21 --minutes 60 --why "misread" {LATER}') == (
        "0 new, 1 corrected, 0 unchanged.\n"
    )
    assert shown(occluded)["whole"]["worn_hours"] == 1.0
    kept = [v for v in occluded.history("K-017") if v.key == "K-017/W20260421"]
    assert [(v.version, v.stamp.reason) for v in kept] == [(1, ""), (2, "misread")]


def test_adherence_is_told_as_bounds_because_gaps_are_unknown(
    occluded: Clinic, tmp_path: Path
) -> None:
    """14 days of 2 h are 28 h; 7 days recorded with 1.5 h are 10.5 h of 28 h or of 14 h."""
    days = [f"2026-04-{n},{90},2026-04-{n}" for n in range(20, 27)]
    file = diary(tmp_path, *days, header="date,minutes,written_on")
    occluded.say(f"wear import K-017 {file} {LATER}")
    whole = shown(occluded)["whole"]
    assert (whole["prescribed_hours"], whole["worn_hours"]) == (28, 10.5)
    assert (whole["adherence_percent_at_least"], whole["adherence_percent_at_most"]) == (38, 75)
    assert whole["gaps"] == [f"2026-04-{n}" for n in range(27, 31)] + [
        f"2026-05-0{n}" for n in range(1, 4)
    ]
    (regimen,) = shown(occluded)["regimens"]
    assert (regimen["id"], regimen["band"]) == ("K-017/R1", "fair to good")


def test_the_same_file_twice_changes_nothing(occluded: Clinic, tmp_path: Path) -> None:
    file = diary(tmp_path, "2026-04-21,90", "2026-04-22,0")
    assert occluded.say(f"wear import K-017 {file} {LATER}") == "2 new, 0 corrected, 0 unchanged.\n"
    before = occluded.history("K-017")
    assert occluded.say(f"wear import K-017 {file} {LATER}") == "0 new, 0 corrected, 2 unchanged.\n"
    assert occluded.history("K-017") == before


DOUBTS = [
    ("2026-04-10,60", "no occlusion was prescribed for this day"),
    ("2026-04-21,1500", "more hours than a day has"),
    ("2026-04-21,720", "more than the waking hours: worn while asleep, or a slip"),
]


@pytest.mark.parametrize(("line", "why"), DOUBTS)
def test_an_entry_that_cannot_be_is_kept_told_and_not_counted(
    occluded: Clinic, tmp_path: Path, line: str, why: str
) -> None:
    on, minutes = line.split(",")
    said = occluded.say(f"wear import K-017 {diary(tmp_path, line)} {LATER}")
    assert said == (
        f"1 new, 0 corrected, 0 unchanged.\n    {on}, {minutes} minutes: {why}; kept, not counted\n"
    )
    assert shown(occluded)["whole"]["worn_hours"] == 0


def test_a_week_filled_in_on_one_day_is_told_and_not_counted(
    occluded: Clinic, tmp_path: Path
) -> None:
    days = [f"2026-04-{n};120;2026-04-30" for n in range(20, 27)]
    file = diary(tmp_path, *days, header="date;minutes;written_on")
    said = occluded.say(f"wear import K-017 {file} {LATER}")
    assert said.count("a week of identical entries written on one day") == 7
    assert shown(occluded)["whole"]["days_recorded"] == 0


LINES = [
    ("21/04/2026,90", "line 2: '21/04/2026' is not year-month-day, such as 2026-03-09."),
    ("04-21-2026,90", "line 2: '04-21-2026' is not year-month-day"),
    ("20260421,90", "line 2: '20260421' is not year-month-day"),
    ("2026-04-31,90", "line 2: '2026-04-31' is not year-month-day"),
    ("2026-04-21,1h30", "line 2: '1h30' is not whole minutes, such as 90."),
    ("2026-04-21,-5", "line 2: '-5' is not whole minutes"),
    ("2026-04-21", "line 2: has more or fewer columns than the first line."),
    ("2026-04-21,90,7", "line 2: has more or fewer columns than the first line."),
    ("2026-05-05,90", "line 2: the wear on 2026-05-05 has not been yet (today is 2026-05-04)."),
    ("2026-01-05,90", "line 2: the wear on 2026-01-05 is before the birth on 2026-02-11."),
]


@pytest.mark.parametrize(("line", "words"), LINES)
def test_a_line_that_cannot_be_read_stops_the_whole_file(
    occluded: Clinic, tmp_path: Path, line: str, words: str
) -> None:
    said = occluded.refuse(f"wear import K-017 {diary(tmp_path, line, '2026-04-22,60')} {LATER}")
    assert words in said
    assert said.endswith("Nothing was written. Correct these lines.")
    assert shown(occluded)["whole"]["days_recorded"] == 0


def test_every_line_that_is_wrong_is_named(occluded: Clinic, tmp_path: Path) -> None:
    file = diary(tmp_path, "2026-04-21,90", "x,90", "2026-04-21,60", "2026-04-23,y")
    said = occluded.refuse(f"wear import K-017 {file} {LATER}")
    assert "line 3: 'x' is not year-month-day, such as 2026-03-09. " in said
    assert "line 4: 2026-04-21 was told otherwise on line 2. line 5: 'y'" in said


@pytest.mark.parametrize("header", ["2026-04-21,90", "day,minutes", "date,minutes,who", "date"])
def test_a_file_without_its_header_is_refused(
    occluded: Clinic, tmp_path: Path, header: str
) -> None:
    said = occluded.refuse(f"wear import K-017 {diary(tmp_path, header=header)} {LATER}")
    assert said.endswith(
        f"the first line is {header!r}, not the names of the columns. "
        "Begin with the line: date,minutes or date,minutes,written_on"
    )


def test_a_file_that_is_no_text_is_refused(occluded: Clinic, tmp_path: Path) -> None:
    path = tmp_path / "wear.csv"
    path.write_bytes(b"\xff\xfe\x00d")
    assert "this file cannot be read" in occluded.refuse(f"wear import K-017 {path} {LATER}")


def test_hours_for_each_line_gained_and_what_others_gained_are_told_with_their_source(
    clinic: Clinic, tmp_path: Path
) -> None:
    """0.1 logMAR for 120 hours worn (from memory, see occlusion_dose_response)."""
    clinic.say('child add K-9 --name "Nils" --born 2021-02-01 --today 2026-03-02')
    for on, right in (("2026-03-02", "0.60"), ("2026-05-30", "0.40")):
        clinic.say(
            f'exam add K-9 --on {on} --test "electronic letters" '
            f'--acuity "right={right} logMAR" --acuity "left=0.00 logMAR" '
            "--cataract left=none --cataract right=none --today 2026-06-01"
        )
    clinic.say(
        'occlusion change K-9 --hours 2 --eye left --starts 2026-03-02 --why "agreed" '
        "--today 2026-03-02"
    )
    days = [f"2026-0{month}-{n:02},120" for month in (3, 4, 5) for n in range(2, 30)]
    clinic.say(f"wear import K-9 {diary(tmp_path, *days)} --today 2026-06-01")
    found = json.loads(clinic.say("wear show K-9 --json --today 2026-06-01"))
    assert found["hours_per_line"] == 84, "168 hours worn to the look, for two lines"
    assert found["expected"]["lines"] == pytest.approx(168 / 120)
    assert found["expected"]["because"]["row"] == "age-3-to-8"
    assert "no promise" in clinic.say("wear show K-9 --today 2026-06-01")


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        (
            '2026-04-21,"90\n2026-04-22,60',
            "line 2 cannot be split into columns (unexpected end of data).",
        ),
        (
            f"2026-04-21,{'9' * 200_000}",
            "line 2 cannot be split into columns (field larger than field limit (131072)).",
        ),
    ],
    ids=["a quotation mark left open", "a field without end"],
)
def test_a_line_that_is_no_table_is_refused_by_its_number(
    occluded: Clinic, tmp_path: Path, line: str, problem: str
) -> None:
    file = diary(tmp_path, line)
    before = occluded.history("K-017")
    assert occluded.refuse(f"wear import K-017 {file} {LATER}") == (
        f"{file}: {problem} Nothing was written. Correct this line, above all its quotation marks."
    )
    assert occluded.history("K-017") == before


def test_a_column_named_twice_is_refused(occluded: Clinic, tmp_path: Path) -> None:
    file = diary(tmp_path, "2026-04-21,90,60", header="date,minutes,minutes")
    said = occluded.refuse(f"wear import K-017 {file} {LATER}")
    assert "the first line is 'date,minutes,minutes', not the names of the columns." in said
