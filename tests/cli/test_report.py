"""`rehab report`: figures with what they count, as text, JSON, spreadsheets, and a page."""

import csv
import io
import json
from pathlib import Path

import pytest

from tests.conftest import Clinic

FIGURES = ("attendance", "correction", "windows", "no-date", "loss")


def test_attendance_is_shown_beside_the_published_cohort(asel: Clinic) -> None:
    # Operated on 30 March, seen on 6 April: the windows of one week and one month have passed.
    said = asel.say("report attendance --today 2026-06-01")
    title, _, head, week, month, *_ = said.splitlines()
    assert title == "Attendance after lens removal"
    assert head.split()[:3] == ["TIME", "POINT", "WINDOW,"]
    assert week.split()[:11] == ["1", "week", "−3", "to", "+5", "1", "1", "100", "%", "(too", "few"]
    assert month.split()[5:9] == ["1", "0", "0", "%"]
    assert "85 %" in month
    assert "not a target" in " ".join(said.split())


def test_correction_loss_windows_and_no_date_are_shown(asel: Clinic) -> None:
    assert "all eyes       1     1          0        7 days" in asel.say("report correction")
    loss = asel.say("report loss --today 2026-12-01")
    assert "What following ended with: 1 lost." in loss
    windows = asel.say("report windows --from 2026-04-01 --until 2026-04-10")
    assert "post operative review" in windows
    assert asel.say("report no-date").splitlines()[3].split() == [
        "K-017", "2026-04-06", "14", "2026-03-30",
    ]  # fmt: skip


def test_where_every_child_has_a_date_the_report_says_so(asel: Clinic) -> None:
    asel.say("appointment book K-017 2026-04-30")
    assert "Every child in care has a date." in asel.say("report no-date")


@pytest.mark.parametrize("figure", FIGURES)
def test_each_figure_prints_json_with_its_definitions(asel: Clinic, figure: str) -> None:
    said = json.loads(asel.say(f"report {figure} --json --until 2026-04-20"))
    assert (said["figure"], said["from"], said["until"]) == (figure, None, "2026-04-20")
    assert said["notes"]
    assert said["rows"] or figure == "loss"
    assert said["not_counted"] == {}
    assert ("curve" in said) == (figure == "loss")


def test_a_figure_can_be_written_as_a_spreadsheet(asel: Clinic, tmp_path: Path) -> None:
    out = tmp_path / "attendance.csv"
    assert asel.say(f"report attendance --csv {out}") == f"Wrote {out}: 5 rows.\n"
    rows = list(csv.DictReader(io.StringIO(out.read_bytes().decode("utf-8-sig"))))
    assert [row["point"] for row in rows][:2] == ["1 week", "1 month"]


def test_all_figures_are_written_into_a_folder(asel: Clinic, tmp_path: Path) -> None:
    out = tmp_path / "figures"
    said = asel.say(f"report all --out {out} --today 2026-12-01")
    assert said == f"Wrote {out}: 1 child operated. Open {out / 'figures.html'}\n"
    names = {path.name for path in out.iterdir()}
    assert {"figures.html", "attendance.svg", "loss.csv", "windows.csv"} <= names
    assert [path.name for path in out.iterdir() if b"Asel" in path.read_bytes()] == [], "numbers"


def test_a_months_figures_are_one_command(asel: Clinic, tmp_path: Path) -> None:
    # Operated on 30 March: the window of one week ends in April, that of one month in May.
    for month, day, wanted in (("04", "30", ["1 week"]), ("05", "31", ["1 month"])):
        out = tmp_path / month
        days = f"--from 2026-{month}-01 --until 2026-{month}-{day}"
        asel.say(f"report all {days} --out {out} --today 2026-06-02")
        rows = csv.DictReader(io.StringIO((out / "attendance.csv").read_text("utf-8-sig")))
        assert [row["point"] for row in rows if row["due"] != "0"] == wanted
    page = (tmp_path / "04" / "figures.html").read_text(encoding="utf-8")
    lead = page.partition('<p class="lead">')[2].partition("</p>")[0]
    assert "What fell due or happened from" in lead
    assert "1 April 2026" in lead
    assert "30 April 2026" in lead
    assert "No eye had its lens removed in these days." in page


def test_a_period_that_ends_before_it_starts_is_refused(asel: Clinic) -> None:
    assert asel.refuse("report attendance --from 2026-05-01 --until 2026-04-01") == (
        "report: the period from 2026-05-01 ends on 2026-04-01, before it starts. "
        "Give a first day that is not after the last."
    )


def test_an_empty_clinic_is_told_what_to_do_first(clinic: Clinic) -> None:
    for figure in FIGURES:
        assert clinic.refuse(f"report {figure}") == (
            "report: no child is recorded, so there is nothing to count. "
            "Register children first: rehab child add"
        )


def test_where_nobody_was_operated_the_report_says_for_which_days(asel: Clinic) -> None:
    assert asel.refuse("report loss --operated-from 2026-04-01") == (
        "report: no child had its lens removed (from 2026-04-01, as known on 2026-04-20). "
        "Check --operated-from, --operated-until and --today, or record the surgeries."
    )
