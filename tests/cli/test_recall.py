"""`rehab recall`: each family once, the most urgent first, with the reasons."""

import csv
import io
import json
import re
from pathlib import Path

from tests.conftest import Clinic

KEYS = {
    "child", "name", "phone", "urgency", "reasons", "come_by", "days_overdue",
    "times_not_brought", "because",
}  # fmt: skip


def test_a_family_stands_on_the_list_with_phone_and_reasons(asel: Clinic) -> None:
    head, line = asel.say("recall list").splitlines()
    assert head.split() == ["CONTACT", "NUMBER", "NAME", "PHONE", "COME", "BY", "WHY"]
    assert re.split("  +", line)[:4] == ["TODAY", "K-017", "Asel T", "+00 555 0117"]
    assert "overdue since 2026-04-08: refraction" in line


def test_the_list_as_json_says_by_which_row_it_is_urgent(asel: Clinic) -> None:
    (line,) = json.loads(asel.say("recall list --json"))
    assert line.keys() == KEYS
    assert (line["child"], line["urgency"]) == ("K-017", 1)
    assert line["because"]["decision"] == "recall_urgency"
    assert line["because"]["facts"]["days_overdue"] == line["days_overdue"] == 12


def test_the_list_can_be_written_as_a_spreadsheet_that_runs_nothing(
    asel: Clinic, tmp_path: Path
) -> None:
    asel.say("child add K-2 --name '=1+1' --born 2026-02-11")
    asel.say('surgery add K-2 --eye left --on 2026-03-30 --procedure "lens removal"')
    out = tmp_path / "recall.csv"
    assert asel.say(f"recall list --csv {out}") == f"Wrote {out}: 2 families.\n"
    rows = list(csv.DictReader(io.StringIO(out.read_bytes().decode("utf-8-sig"))))
    assert {row["number"]: row["name"] for row in rows} == {"K-017": "Asel T", "K-2": "'=1+1"}


def test_looking_further_ahead_finds_windows_that_close_later(asel: Clinic) -> None:
    asel.say(
        "exam add K-017 --on 2026-04-20 --pressure right=14 --refraction right=+24.00 "
        "--done right=contact_lens_review --done right=occlusion_review"
    )
    assert json.loads(asel.say("recall list --json --by 2026-04-21")) == []
    (line,) = json.loads(asel.say("recall list --json --by 2026-05-31"))
    assert [reason for reason in line["reasons"] if "not booked" in reason] == [
        "visit due by 2026-04-30, not booked"
    ]


def test_where_nobody_waits_the_list_says_so(clinic: Clinic) -> None:
    assert clinic.say("recall list") == "Nobody needs to be contacted.\n"
    assert json.loads(clinic.say("recall list --json")) == []
