"""`rehab recall`: each family once, the most urgent first, with the reasons."""

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from python_calamine import CalamineWorkbook

from tests.conftest import Clinic

KEYS = {
    "child", "name", "born", "language", "contact", "urgency", "reasons", "come_by",
    "waits_until", "days_overdue", "times_not_brought", "ring", "last_tries", "because",
}  # fmt: skip
SEEN = (
    "exam add K-017 --on {} --pressure right=14 --refraction right=+24.00 "
    "--visual-axis right=clear --done right=contact_lens_review --done right=occlusion_review"
)


def listed(clinic: Clinic, today: str = "2026-04-20", more: str = "") -> list[dict[str, Any]]:
    lines: list[dict[str, Any]] = json.loads(
        clinic.say(f"recall list --json --today {today} {more}")
    )
    return lines


def why(clinic: Clinic, today: str) -> list[str]:
    return [reason["sentence"] for line in listed(clinic, today) for reason in line["reasons"]]


def test_a_family_stands_under_its_urgency_with_all_that_a_call_needs(asel: Clinic) -> None:
    asel.say('contact add K-017 --name "Gulnara T" --relation mother --phone "+00 555 0118"')
    asel.say("contact log K-017 --how phone --outcome 'no answer' --on 2026-04-17")
    said = asel.say("recall list").splitlines()
    assert max(map(len, said)) <= 100
    assert said[:7] == [
        "1 family to contact: 1 TODAY.",
        "",
        "TODAY",
        f"{'K-017  Asel T, 2 months':<82}come by 2026-04-27",
        "    ring Gulnara T (mother) +00 555 0118, +00 555 0117; home language en",
        "    - overdue since 2026-04-08: refraction, contact lens review, pressure check",
        "    tried 2026-04-17 phone call: no answer",
    ]
    assert said[7].startswith(
        "    placed by recall_urgency/first-six-weeks-overdue: age months 2, "
    )


def test_the_list_as_json_says_by_which_row_it_is_urgent(asel: Clinic) -> None:
    (line,) = listed(asel)
    assert line.keys() == KEYS
    assert (line["child"], line["urgency"], line["contact"]) == ("K-017", 1, "TODAY")
    assert line["reasons"][0]["kind"] == "overdue"
    assert line["because"]["decision"] == "recall_urgency"
    assert line["because"]["facts"]["days_overdue"] == line["days_overdue"] == 12


def test_the_same_columns_go_to_a_spreadsheet_and_to_a_workbook(
    asel: Clinic, tmp_path: Path
) -> None:
    asel.say("child add K-2 --name '=1+1' --born 2026-02-11")
    asel.say('surgery add K-2 --eye left --on 2026-03-30 --procedure "lens removal"')
    out, book = tmp_path / "recall.csv", tmp_path / "recall.xlsx"
    assert asel.say(f"recall list --csv {out}") == f"Wrote {out}: 2 families.\n"
    rows = list(csv.DictReader(io.StringIO(out.read_bytes().decode("utf-8-sig"))))
    assert {row["number"]: row["name"] for row in rows} == {"K-017": "Asel T", "K-2": "'=1+1"}
    assert asel.say(f"recall list --xlsx {book} --first 1") == (
        f"Wrote {book}: 1 family, the first of 2.\n"
    )
    heads, line = CalamineWorkbook.from_path(book).get_sheet_by_index(0).to_python()
    assert heads == list(rows[0])
    assert line[1] == rows[0]["number"]


def test_the_page_is_for_printing(asel: Clinic, tmp_path: Path) -> None:
    out = tmp_path / "recall.html"
    assert asel.say(f"recall list --page {out}") == f"Wrote {out}: 1 family.\n"
    page = out.read_text(encoding="utf-8")
    assert "Harbour Eye Clinic" in page
    assert "size: A4 landscape" in page
    assert "K-017" in page


@pytest.mark.parametrize("two", ["--csv a.csv --json", "--xlsx a.xlsx --page a.html"])
def test_one_output_at_a_time(asel: Clinic, two: str) -> None:
    assert asel.misuse(f"recall list {two}") == "Choose one of --csv, --xlsx, --page and --json."


def test_the_first_families_of_a_long_list_say_how_many_there_are(asel: Clinic) -> None:
    for n in range(3):
        asel.say(f"child add L-{n} --name Bo --born 2026-02-11")
    said = asel.say("recall list --first 2").splitlines()
    assert said[0] == "4 families to contact: 1 TODAY, 3 before the window closes."
    assert [line.split()[0] for line in said if line[:2] in ("K-", "L-")] == ["K-017", "L-0"]
    assert said[-1] == "These are the first 2 of 4 families."
    assert [line["child"] for line in listed(asel, more="--first 1")] == ["K-017"]


def test_looking_further_ahead_finds_windows_that_close_later(asel: Clinic) -> None:
    asel.say(SEEN.format("2026-04-20"))
    (line,) = listed(asel, more="--by 2026-04-21")
    assert line["reasons"][0]["kind"] == "no appointment ahead"
    (line,) = listed(asel, more="--by 2026-05-31")
    assert line["reasons"] == [
        {"kind": "window closing", "sentence": "visit due by 2026-04-30, not booked"}
    ]


def test_where_nobody_waits_the_list_says_so(clinic: Clinic) -> None:
    assert clinic.say("recall list") == "Nobody needs to be contacted.\n"
    assert json.loads(clinic.say("recall list --json")) == []


def test_a_child_not_brought_in_the_first_weeks_is_called_until_the_family_knows_a_new_date(
    asel: Clinic,
) -> None:
    asel.say(SEEN.format("2026-04-15"))
    asel.say("appointment book K-017 2026-04-20")
    asel.say('appointment outcome K-017 2026-04-20 "was not brought"')
    (line,) = listed(asel)
    assert line["urgency"] == 1
    assert why(asel, "2026-04-20")[:2] == [
        "was not brought (2026-04-20)",
        "same-day call due 2026-04-20",
    ]

    asel.say("contact log K-017 --how phone --outcome 'no answer'")
    assert "same-day call due 2026-04-20" in why(asel, "2026-04-20")
    (line,) = listed(asel, "2026-04-21")
    assert (line["urgency"], line["last_tries"]) == (1, ["2026-04-20 phone call: no answer"])

    asel.say("appointment book K-017 2026-04-24 --today 2026-04-21")
    assert why(asel, "2026-04-21")[0] == (
        "new date 2026-04-24 not yet told to the family; was not brought (2026-04-20)"
    )
    asel.say("contact log K-017 --how phone --outcome reached --today 2026-04-21")
    assert listed(asel, "2026-04-21", "--by 2026-04-21") == []

    # The new day passes and nobody records what became of it: the loop is open again.
    assert why(asel, "2026-04-25")[0] == "was not brought (2026-04-20)"
    asel.say("appointment outcome K-017 2026-04-24 attended --today 2026-04-25")
    assert "was not brought (2026-04-20)" not in why(asel, "2026-04-25")


def test_three_missed_in_a_row_raise_the_safeguarding_question(asel: Clinic) -> None:
    asel.say(SEEN.format("2026-05-15 --today 2026-05-15"))
    for day in ("2026-05-25", "2026-06-08", "2026-06-15"):
        asel.say(f"appointment book K-017 {day} --today 2026-05-15")
        asel.say(f'appointment outcome K-017 {day} "was not brought" --today {day}')
    asked = "safeguarding question (ask the person responsible for safeguarding) due 2026-06-22"
    assert not any(asked in said for said in why(asel, "2026-06-21"))
    assert any(asked in said for said in why(asel, "2026-06-22"))


def test_a_letter_that_came_back_brings_the_family_onto_the_list(asel: Clinic) -> None:
    asel.say(SEEN.format("2026-04-20"))
    asel.say("appointment book K-017 2026-04-27 --told phone")
    assert listed(asel, more="--by 2026-04-21") == []
    asel.say("contact log K-017 --how letter --outcome returned")
    assert why(asel, "2026-04-20") == ["letter returned 2026-04-20: ask for the right address"]


def test_a_family_with_an_agreed_next_try_stands_apart_until_that_day(asel: Clinic) -> None:
    asel.say("contact log K-017 --how phone --outcome 'no answer' --next-try 2026-04-21")
    said = asel.say("recall list").splitlines()
    assert said[0] == "1 family to contact: 1 on the day of the next try."
    assert said[2] == "On the day of the next try"
    (line,) = listed(asel)
    assert (line["contact"], line["waits_until"]) == ("on 2026-04-21", "2026-04-21")
    assert listed(asel, "2026-04-21")[0]["contact"] == "TODAY"


def test_more_families_than_any_list_has_are_refused(asel: Clinic) -> None:
    assert "99999999999999999999 is not in the range" in asel.misuse(
        "recall list --first 99999999999999999999"
    )
