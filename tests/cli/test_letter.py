"""`rehab letter`: the family's letter is written, or refused when it must not be sent."""

from pathlib import Path

from tests.conftest import Clinic


def test_the_letter_carries_the_child_and_the_clinic_s_telephone(
    asel: Clinic, tmp_path: Path
) -> None:
    out = tmp_path / "asel.html"
    assert asel.say(f"letter family K-017 --out {out}") == f"Wrote {out}.\n"
    page = out.read_text(encoding="utf-8")
    assert page.lower().startswith("<!doctype html>")
    assert "Asel T" in page
    assert "+00 555 0100" in page


def test_writing_a_letter_changes_no_record(asel: Clinic, tmp_path: Path) -> None:
    before = asel.history("K-017")
    asel.say(f"letter family K-017 --out {tmp_path / 'asel.html'}")
    assert asel.history("K-017") == before


def test_a_child_with_nothing_planned_gets_no_letter(clinic: Clinic, tmp_path: Path) -> None:
    clinic.say("child add K-1 --name A --born 2026-02-11")
    said = clinic.refuse(f"letter family K-1 --out {tmp_path / 'a.html'}")
    assert said == (
        "family letter of child K-1: nothing is planned: care here has ended, "
        "or no facts are recorded. Write to the family by hand."
    )
    assert not (tmp_path / "a.html").exists()
