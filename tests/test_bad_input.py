"""A gallery of bad input: each refusal says what, where and what to do; nothing is written."""

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from rehab.errors import RehabError
from rehab.table_files import BUILT_IN
from rehab.whole_files import write_whole
from tests.conftest import CLINIC_TOML, Clinic

EXAM = "exam add K-017 --on 2026-04-13"
SURGERY = "surgery add K-017 --on"

MISUSED = {
    "a date that does not exist": (
        f'{SURGERY} 2026-02-30 --eye left --procedure "lens removal"',
        "Invalid value for '--on': '2026-02-30' is not a day; "
        "write year-month-day, such as 2026-03-09",
    ),
    "a date in another order": (
        "child add K-2 --name B --born 11/02/2026",
        "Invalid value for '--born': '11/02/2026' is not a day; "
        "write year-month-day, such as 2026-03-09",
    ),
    "an outcome outside the vocabulary": (
        'appointment outcome K-017 2026-04-13 "did not attend"',
        "'did not attend' is not one of 'booked', 'attended', 'was not brought'",
    ),
}

REFUSED = {
    "a surgery before birth": (
        f'{SURGERY} 2026-02-10 --eye left --procedure "lens removal"',
        "K-017: the surgery on 2026-02-10 is before the birth on 2026-02-11. Check both dates.",
    ),
    "a lens taken out twice": (
        f'{SURGERY} 2026-04-13 --eye right --procedure "lens removal"',
        "K-017: the right eye is aphakic since lens removal on 2026-03-30, so lens removal on "
        "2026-04-13 cannot be. "
        "Check the eye, the date and the procedure, or correct the earlier record.",
    ),
    "a secondary implant in a phakic eye": (
        f'{SURGERY} 2026-04-13 --eye left --procedure "secondary implant"',
        "K-017: the left eye is phakic, so secondary implant on 2026-04-13 cannot be. "
        "Check the eye, the date and the procedure, or correct the earlier record.",
    ),
    "an earlier surgery that a later one rules out": (
        f'{SURGERY} 2026-03-16 --eye right --procedure "lens removal with implant"',
        "K-017: lens removal of the right eye on 2026-03-30 cannot follow lens removal with "
        "implant on 2026-03-16. "
        "Check the eye, the date and the procedure, or correct the later record.",
    ),
    "a lens status that the surgeries contradict": (
        f"{EXAM} --lens-status right=pseudophakic",
        "K-017: the right eye is aphakic by the operations recorded, but was found pseudophakic "
        "on 2026-04-13. Record the missing operation, or correct the finding.",
    ),
    "an acuity that no notation explains": (
        f'{EXAM} --acuity "left=quite good"',
        'K-017, left eye, acuity: "quite good" is in no notation for acuity that is known here. '
        'Write for example "6/18", ',
    ),
    "an axis that no trial frame has": (
        f"{EXAM} --refraction right=+4.00/-1.00x190",
        "K-017, right eye, refraction: An axis of 190 is not 1 to 180. "
        'Write for example "+4.00/-1.00x90"',
    ),
    "a word that is no fixation": (
        f"{EXAM} --fixation left=wobbly",
        'K-017, left eye, fixation: "wobbly" is not a word for fixation. '
        'Write "central", "steady", "maintained"',
    ),
    "a pressure that no eye has": (
        f"{EXAM} --pressure right=140",
        "K-017, right eye, pressure: 140 mmHg is outside 0 to 80 mmHg. "
        "Check the reading and write it again.",
    ),
    "a pressure with a fraction": (
        f"{EXAM} --pressure right=14.5",
        'K-017, right eye, pressure: "14.5" is not one whole number of mmHg. '
        'Write a whole number, for example "18"',
    ),
    "a visual axis in other words": (
        f"{EXAM} --visual-axis right=cloudy",
        "K-017, right eye: 'cloudy' is not a word for the visual axis. "
        "Known: clear, hazy, opaque, unknown.",
    ),
    "an examination that has not been yet": (
        "exam add K-017 --on 2026-04-21 --pressure right=14",
        "K-017: the examination on 2026-04-21 has not been yet (today is 2026-04-20). "
        "Check the date, or give --today.",
    ),
    "a child's number that is taken": (
        "child add K-017 --name B --born 2026-01-05",
        "K-017: a child with this number is already recorded. "
        "To change it, correct K-017; for another child, use another number.",
    ),
    "a child's number that no key can hold": (
        "child add K/17 --name B --born 2026-01-05",
        "'K/17' cannot be a child's number. Use at most 40 letters",
    ),
    "a birth after today": (
        "child add K-2 --name B --born 2026-04-21",
        "K-2: the date of birth 2026-04-21 is after today, 2026-04-20. "
        "Check the date, or give --today.",
    ),
    "a child whom nobody recorded": (
        'surgery add K-99 --on 2026-04-13 --eye left --procedure "lens removal"',
        "nothing is recorded as K-99. Check the number.",
    ),
    "a writer without a name": (
        f'{EXAM} --pressure right=14 --who " "',
        "nobody is named as the one who writes this. Say who you are, then repeat.",
    ),
}


@pytest.mark.parametrize(("line", "words"), MISUSED.values(), ids=MISUSED)
def test_a_line_that_cannot_be_understood_writes_nothing(
    asel: Clinic, line: str, words: str
) -> None:
    before = asel.history("K-017")
    assert words in asel.misuse(line)
    assert asel.history("K-017") == before


@pytest.mark.parametrize(("line", "words"), REFUSED.values(), ids=REFUSED)
def test_what_is_refused_is_explained_and_nothing_is_written(
    asel: Clinic, line: str, words: str
) -> None:
    before = asel.history("K-017")
    assert asel.refuse(line).startswith(words)
    assert asel.history("K-017") == before
    assert asel.say("child list").count("\n") == 2


def test_no_plan_is_made_for_a_child_whom_nobody_recorded(clinic: Clinic) -> None:
    for line in (
        "plan show K-99",
        "calendar export K-99",
        "letter write family K-99",
        "child show K-99",
    ):
        assert clinic.refuse(line) == "nothing is recorded as K-99. Check the number."


def test_a_letter_without_the_clinic_s_telephone_is_refused(asel: Clinic, tmp_path: Path) -> None:
    (asel.home / "clinic.toml").write_text('name = "Harbour Eye Clinic"\n')
    said = asel.refuse(f"letter write family K-017 --out {tmp_path / 'asel.html'}")
    assert said == (
        "family letter: the clinic has no telephone number, and a family must be able to ring. "
        "Set phone in the clinic file."
    )
    assert not (tmp_path / "asel.html").exists()


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ('phnoe = "1"', "phnoe is not a setting (known: address, closed, "),
        ("phone = 5550100", "phone must be text in quotes"),
        ('open_weekdays = ["Mon"]', "open_weekdays must name at least one of Monday, "),
        ('closed = ["2026-12-25"]', "closed must list dates such as 2026-12-25, without quotes"),
        ("horizon_months = 0", "horizon_months must be a whole number from 1 to 240"),
        ("phone = ", "Invalid value"),
        ('time_zone = "Mars/Base"', "time_zone 'Mars/Base' is not known; write such as"),
        ('time_zone = "../etc"', "time_zone '../etc' is not known; write such as"),
        ('time_zone = "Europe"', "time_zone 'Europe' is not known; write such as"),
        ("country = 44", "country must be text in quotes"),
        ('country = "Kenya"', "country 'Kenya' is not a code of ISO 3166-1; write its two "),
        ('language = "de"', "language must be one of en, es, fr, pt, sw, hi, bn, ta, ar, ur"),
        ('language = ["en"]', "language must be one of en, es, fr, pt, sw, hi, bn, ta, ar, ur"),
        ('paper = "A3"', "paper must be one of a4, letter"),
        ("feed_address = 1", "feed_address must be text in quotes"),
        ('feed_address = "http://example.org"', "feed_address must be the address of a folder "),
        (f"closed = {'[' * 100_000}", "its lists are nested too deeply."),
    ],
)
def test_a_slip_in_the_clinic_s_file_is_named(clinic: Clinic, line: str, problem: str) -> None:
    file = clinic.home / "clinic.toml"
    file.write_text(f'name = "Harbour Eye Clinic"\n{line}\n')
    said = clinic.refuse("child list")
    assert said.startswith(f"{file}: {problem}")
    assert said.endswith("Correct the file.")


def test_all_slips_in_the_clinic_s_file_are_told_at_once(clinic: Clinic) -> None:
    (clinic.home / "clinic.toml").write_text("phnoe = 1\nhorizon_months = 0\n")
    said = clinic.refuse("child list")
    for words in ("phnoe is not", "name is missing", "horizon_months must be"):
        assert words in said


def test_a_clinic_named_by_spaces_has_no_name(clinic: Clinic) -> None:
    (clinic.home / "clinic.toml").write_text('name = "  "\n')
    assert "name is missing" in clinic.refuse("child list")


def test_a_slip_in_a_table_of_the_clinic_stops_every_plan(asel: Clinic) -> None:
    own = Path(shutil.copy(BUILT_IN / "refraction.toml", asel.home / "tables"))
    own.write_text(own.read_text().replace("question", "qeustion", 1))
    before = asel.home.joinpath("rehab.db").read_bytes()
    said = asel.refuse("plan show K-017")
    assert said.startswith("refraction.toml: the file has qeustion, which is not one of ")
    assert said.endswith("Correct the file.")
    assert asel.refuse("protocol check") == said
    assert asel.home.joinpath("rehab.db").read_bytes() == before


def test_a_table_of_the_clinic_that_asks_for_an_unknown_fact_is_refused(asel: Clinic) -> None:
    own = Path(shutil.copy(BUILT_IN / "suture_review.toml", asel.home / "tables"))
    own.write_text(own.read_text().replace("days_since_surgery", "days_since_breakfast"))
    said = asel.refuse("plan show K-017")
    assert said.startswith(
        "the clinic's suture_review: days_since_breakfast is not a fact that this program knows. "
        "Known here: acuity_difference_hundredths, age_at_surgery_days, "
    )


def test_where_there_is_no_clinic_none_is_made_by_asking(tmp_path: Path) -> None:
    nowhere = Clinic(tmp_path / "nowhere")
    for line in ("child list", "plan show K-017", "recall list"):
        assert nowhere.refuse(line) == (
            f"{nowhere.home / 'clinic.toml'}: there is no clinic file here. "
            "Make one with: rehab init"
        )
    assert not nowhere.home.exists()


def test_a_clinic_s_folder_without_its_database_is_told_how_to_make_one(tmp_path: Path) -> None:
    bare = Clinic(tmp_path)
    (tmp_path / "clinic.toml").write_text(CLINIC_TOML)
    assert bare.refuse("child list") == (
        f"{tmp_path / 'rehab.db'}: there is no database here. Make one with: rehab init"
    )


def test_a_file_that_is_not_a_database_is_refused_and_kept(clinic: Clinic) -> None:
    database = clinic.home / "rehab.db"
    database.write_text("Minutes of a meeting. " * 100)
    for line in ("child list", "init"):
        assert clinic.refuse(line) == (
            f"{database}: this file is not a database, or it is damaged. "
            "Put back the last good copy, or choose another place."
        )
    assert database.read_text() == "Minutes of a meeting. " * 100


def test_a_database_from_a_newer_version_is_refused_and_kept(asel: Clinic) -> None:
    database = asel.home / "rehab.db"
    connection = sqlite3.connect(database)
    connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.commit()
    connection.close()
    before = database.read_bytes()
    for line in ("child list", "init", 'child add K-2 --name "B" --born 2026-01-05'):
        assert asel.refuse(line) == (
            f"{database}: this database was written by a newer version of the program "
            "(it is at 9999). Install the newer version of the program."
        )
    assert database.read_bytes() == before


@pytest.mark.parametrize(
    "line",
    [
        "child add K-2 --name B --born 2026-01-05 --who \udcff",
        "child show K-\udcff",
        "exam add K-017 --on 2026-04-13 --pressure right=14 --why \udcff",
    ],
)
def test_typed_bytes_that_are_no_text_are_refused_and_nothing_is_written(
    asel: Clinic, line: str
) -> None:
    before = asel.home.joinpath("rehab.db").read_bytes()
    said = asel.refuse(line)
    assert said.endswith("is not readable text. Nothing was written. Type it in UTF-8.")
    assert asel.home.joinpath("rehab.db").read_bytes() == before


FULL = Path("/dev/full")


@pytest.mark.skipif(not FULL.exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("line", ["child list", "--help"])
def test_an_answer_that_finds_no_room_ends_in_a_message(asel: Clinic, line: str) -> None:
    program = [sys.executable, "-c", "from rehab.cli.main import rehab; rehab()"]
    with FULL.open("w") as full:
        done = subprocess.run(
            [*program, "--home", str(asel.home), *line.split()],
            cwd=Path(__file__).parents[1],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
        )
    assert done.returncode == 1
    assert done.stderr == (
        "Error: No space left on device. What was recorded before this stays recorded: "
        "look before you repeat.\n"
    )


def test_a_part_that_another_is_writing_is_left_alone(tmp_path: Path) -> None:
    other = tmp_path / f".plan.ics.{os.getpid()}.part"
    other.write_bytes(b"another's")
    with pytest.raises(RehabError, match="cannot be written: File exists"):
        write_whole(tmp_path / "plan.ics", b"ours")
    assert other.read_bytes() == b"another's"
    assert not (tmp_path / "plan.ics").exists()


def test_no_output_takes_the_place_of_a_database(asel: Clinic, tmp_path: Path) -> None:
    database = tmp_path / "copy.db"
    with closing(sqlite3.connect(database)) as made:
        made.execute("CREATE TABLE child (number TEXT)")
    before = database.read_bytes()
    for line in ("recall list --csv", "recall list --page"):
        assert asel.refuse(f"{line} {database}") == (
            f"{database}: this file is a database, which would be lost. Choose another place."
        )
    assert database.read_bytes() == before


def test_links_in_a_circle_are_refused_and_kept(tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    with pytest.raises(RehabError, match="cannot be written: Too many levels"):
        write_whole(tmp_path / "a", b"x")
    assert (tmp_path / "a").is_symlink()
