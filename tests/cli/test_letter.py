"""`rehab letter`: written, logged, printed again, or refused when it must not be sent."""

import json
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


def test_nobody_booked_on_a_day_is_said(asel: Clinic, tmp_path: Path) -> None:
    said = asel.refuse(f"letter write family --day 2026-05-01 --out {tmp_path / 'stack.pdf'}")
    assert said == "letters: nobody is booked on 2026-05-01. Check the day."


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
