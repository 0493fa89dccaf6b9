"""`rehab letter`: written, logged, printed again, or refused when it must not be sent."""

import json
import subprocess
import sys
from pathlib import Path

import pypdfium2

from tests.conftest import Clinic


def pages(path: Path) -> list[str]:
    return [page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(path)]


def test_the_letter_carries_the_child_and_the_clinic_s_telephone(
    asel: Clinic, tmp_path: Path
) -> None:
    out = tmp_path / "asel.html"
    assert asel.say(f"letter write family K-017 --out {out}") == f"Wrote {out}: 1 letter.\n"
    page = out.read_text(encoding="utf-8")
    assert page.lower().startswith("<!doctype html>")
    assert "Asel T" in page
    assert "+00 555 0100" in page


def test_a_pdf_has_the_same_words_and_the_same_bytes_each_time(
    asel: Clinic, tmp_path: Path
) -> None:
    for name in ("one.pdf", "two.pdf"):
        asel.say(f"letter write family K-017 --out {tmp_path / name}")
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()
    first = pages(tmp_path / "one.pdf")[0]
    assert "Eye plan for Asel T" in first
    assert "Today and this week" in first


def test_large_print_takes_more_pages(asel: Clinic, tmp_path: Path) -> None:
    asel.say(f"letter write family K-017 --out {tmp_path / 'usual.pdf'}")
    asel.say(f"letter write family K-017 --large --out {tmp_path / 'large.pdf'}")
    assert len(pages(tmp_path / "large.pdf")) > len(pages(tmp_path / "usual.pdf"))


def test_a_child_with_nothing_planned_gets_no_letter(clinic: Clinic, tmp_path: Path) -> None:
    clinic.say("child add K-1 --name A --born 2026-02-11")
    said = clinic.refuse(f"letter write family K-1 --out {tmp_path / 'a.html'}")
    assert "nothing is planned: care here has ended, or no facts are recorded." in said
    assert not (tmp_path / "a.html").exists()


def test_a_letter_is_logged_with_the_hash_of_its_file_and_printed_again_alike(
    asel: Clinic, tmp_path: Path
) -> None:
    asel.say(f"letter write family K-017 --out {tmp_path / 'first.pdf'}")
    [row] = json.loads(asel.say("letter log K-017 --json"))
    assert row["file"] == "first.pdf"
    assert row["kind"] == "family"
    asel.say(f"letter again {row['letter']} --out {tmp_path / 'again.pdf'}")
    assert (tmp_path / "again.pdf").read_bytes() == (tmp_path / "first.pdf").read_bytes()


def test_a_letter_of_an_older_plan_is_printed_only_when_told_and_says_so(
    asel: Clinic, tmp_path: Path
) -> None:
    asel.say(f"letter write family K-017 --out {tmp_path / 'first.pdf'}")
    [row] = json.loads(asel.say("letter log K-017 --json"))
    asel.say("surgery add K-017 --eye left --on 2026-04-15 --procedure 'lens removal'")
    said = asel.refuse(f"letter again {row['letter']} --out {tmp_path / 'again.pdf'}")
    assert "the plan has changed since this letter was made on 2026-04-20." in said
    assert not (tmp_path / "again.pdf").exists()
    asel.say(f"letter again {row['letter']} --old --out {tmp_path / 'again.pdf'}")
    for page in pages(tmp_path / "again.pdf"):
        assert "This is an old letter. The plan has changed since." in page


def test_a_family_is_told_what_changed_since_its_last_letter(asel: Clinic, tmp_path: Path) -> None:
    out = tmp_path / "changes.html"
    assert asel.refuse(f"letter write changes K-017 --out {out}") == (
        "changes letter of child K-017: no letter that told the family its plan is in the log. "
        "Write a family letter."
    )
    asel.say(f"letter write family K-017 --out {tmp_path / 'first.pdf'}")
    assert "nothing has changed" in asel.refuse(f"letter write changes K-017 --out {out}")
    asel.say("appointment book K-017 2026-05-04 --at 10:30")
    asel.say(f"letter write changes K-017 --out {out} --today 2026-04-22")
    page = out.read_text(encoding="utf-8")
    assert '<time datetime="2026-04-20">' in page
    assert '<time datetime="2026-05-04">' in page
    assert "10:30" in page
    assert "nothing has changed" in asel.refuse(
        f"letter write changes K-017 --out {out} --today 2026-04-22"
    )
    [made, _] = json.loads(asel.say("letter log K-017 --json"))
    asel.say(f"letter again {made['letter']} --out {tmp_path / 'again.html'}")
    assert (tmp_path / "again.html").read_text(encoding="utf-8") == page


def test_a_family_whose_language_has_no_words_here_is_named(asel: Clinic, tmp_path: Path) -> None:
    asel.say("child change K-017 --language ky --why 'they said so'")
    result = asel.run(f"letter write family K-017 --out {tmp_path / 'a.pdf'}")
    assert result.stdout == f"Wrote {tmp_path / 'a.pdf'}: 1 letter.\n"
    assert result.stderr == (
        "K-017 (ky): written in English. "
        "Explain it to the family, with an interpreter where needed.\n"
    )


def test_one_child_does_not_hold_up_a_stack(asel: Clinic, tmp_path: Path) -> None:
    for number, name in (("K-1", "李小龙"), ("K-2", "Ora N"), ("K-3", "Ivo P")):
        asel.say(f"child add {number} --name '{name}' --born 2026-02-11")
    for number in ("K-1", "K-2"):
        asel.say(f"surgery add {number} --eye right --on 2026-03-30 --procedure 'lens removal'")
    out = tmp_path / "stack.pdf"
    result = asel.run(f"letter write family K-1 K-017 K-3 K-2 --out {out}")
    assert result.exit_code == 0
    assert result.stdout == f"Wrote {out}: 2 letters.\n"
    nothing, no_font = result.stderr.splitlines()
    assert nothing.startswith("No letter: family letter of child K-3: nothing is planned")
    assert no_font.startswith("No letter: letter of child K-1: it cannot be printed:")
    assert {row["child"] for row in json.loads(asel.say("letter log --json"))} == {"K-017", "K-2"}


def test_what_is_said_of_many_children_is_said_once(asel: Clinic, tmp_path: Path) -> None:
    for number in range(7):
        asel.say(f"child add K-{number} --name A --born 2026-02-11")
    numbers = " ".join(f"K-{number}" for number in range(7))
    result = asel.run(f"letter write family {numbers} K-017 --out {tmp_path / 'stack.pdf'}")
    [said] = result.stderr.splitlines()
    assert said.startswith("No letter, 7 times: nothing is planned")
    assert said.endswith("K-3, family letter of child K-4, ...)")


def test_a_folder_that_cannot_be_written_is_told_and_nothing_is_logged(
    asel: Clinic, tmp_path: Path
) -> None:
    (tmp_path / "taken").write_text("a file")
    said = asel.refuse(f"letter write family K-017 --out {tmp_path / 'taken' / 'a.pdf'}")
    assert said.endswith("cannot be written: File exists. Choose another place.")
    assert json.loads(asel.say("letter log --json")) == []


def test_a_disk_without_room_leaves_no_part_of_a_letter_and_nothing_is_logged(
    asel: Clinic, tmp_path: Path
) -> None:
    """A limit on the size of files ends a write as a full disk does, in the midst of it."""
    program = (
        "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000));"
        "from rehab.cli.main import rehab; rehab()"
    )
    asked = f"letter write family K-017 --out {tmp_path / 'a.pdf'} --who A --today 2026-04-20"
    done = subprocess.run(
        [sys.executable, "-c", program, "--home", str(asel.home), *asked.split()],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
    )
    assert done.returncode == 1
    assert done.stderr.endswith("cannot be written: File too large. Choose another place.\n")
    assert [path.name for path in tmp_path.iterdir() if "pdf" in path.name] == []
    assert json.loads(asel.say("letter log --json")) == []


def test_a_letter_is_not_printed_again_as_if_it_held_once_something_was_found_since(
    asel: Clinic, tmp_path: Path
) -> None:
    """A later finding, number or prescription changes nothing of the plan of the letter's day."""
    asel.say(f"letter write family K-017 --out {tmp_path / 'first.pdf'}")
    [row] = json.loads(asel.say("letter log K-017 --json"))
    again = f"letter again {row['letter']} --out {tmp_path / 'again.pdf'} --today 2026-04-22"
    asel.say(again)
    settings = asel.home / "clinic.toml"
    told = settings.read_text(encoding="utf-8")
    settings.write_text(told.replace("555 0100", "555 0177"), encoding="utf-8")
    assert "the plan has changed since this letter was made" in asel.refuse(again)
    settings.write_text(told, encoding="utf-8")
    asel.say(again)
    asel.say("exam add K-017 --on 2026-04-21 --pressure right=31 --today 2026-04-22")
    assert "the plan has changed since this letter was made" in asel.refuse(again)


def test_the_log_says_from_which_plan_a_letter_was_made(asel: Clinic, tmp_path: Path) -> None:
    for day in ("2026-04-20", "2026-04-21"):
        asel.say(f"letter write family K-017 --out {tmp_path / 'a.pdf'} --today {day}")
    rows = json.loads(asel.say("letter log K-017 --json"))
    assert len({row["plan"] for row in rows}) == 2


def test_a_kind_that_is_none_is_told_with_those_that_are(asel: Clinic) -> None:
    said = asel.refuse("letter write Family K-017")
    assert said.startswith("letters: there is no letter 'Family'. Choose family, changes, ")
    assert "there is no letter 'words'" in asel.refuse("letter write words K-017")


def test_an_addressee_that_cannot_be_printed_is_refused(asel: Clinic) -> None:
    said = asel.refuse("letter write clinician K-017 --to 'Dr \u202eAda'")
    assert said == "--to: the addressee holds what cannot be printed. Type it again."


def test_nobody_booked_on_a_day_is_said(asel: Clinic, tmp_path: Path) -> None:
    said = asel.refuse(f"letter write family --day 2026-05-01 --out {tmp_path / 'stack.pdf'}")
    assert said == "letters: nobody is booked on 2026-05-01. Check the day."


def test_a_day_s_stack_holds_all_who_are_booked_on_it_also_in_no_session(
    asel: Clinic, tmp_path: Path
) -> None:
    asel.say("child add K-2 --name 'Ora N' --born 2026-02-11")
    asel.say("appointment book K-2 2026-05-04 --at 09:00")
    asel.say("appointment book K-017 2026-05-04")
    asel.say(f"letter write appointment --day 2026-05-04 --out {tmp_path / 'stack.pdf'}")
    assert {row["child"] for row in json.loads(asel.say("letter log --json"))} == {"K-017", "K-2"}


def test_the_languages_are_listed_and_a_review_holds_for_the_words_as_they_are(
    asel: Clinic,
) -> None:
    assert "not reviewed" in asel.say("letter languages").split("Spanish")[1].split("\n")[0]
    asel.say("letter reviewed es --by 'P. Serrano' --qualification 'health translator'")
    assert "reviewed by P. Serrano on 2026-04-20" in asel.say("letter languages")


def test_a_clinician_is_written_to_in_the_clinic_s_language_and_a_family_in_its_own(
    asel: Clinic, tmp_path: Path
) -> None:
    asel.say("child change K-017 --language es --why 'they said so'")
    for kind in ("clinician", "family"):
        asel.say(f"letter write {kind} K-017 --out {tmp_path / kind}.pdf")
    rows = json.loads(asel.say("letter log K-017 --json"))
    assert {row["kind"]: row["language"] for row in rows} == {"clinician": "en", "family": "es"}
