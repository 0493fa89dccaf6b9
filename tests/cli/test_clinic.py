"""`rehab init` and `rehab demo`: a clinic's folder, and the whole job on an invented clinic."""

import json
from pathlib import Path

import pytest
from sqlalchemy.engine import make_url

from rehab.store.refusals import place_of
from tests.conftest import CLINIC_TOML, Clinic


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    out = tmp_path_factory.mktemp("demonstration") / "demo"
    return out, Clinic(out).say(f"demo --out '{out}' --today 2026-11-23").splitlines()


def test_a_new_clinic_has_its_file_its_tables_folder_and_its_database(tmp_path: Path) -> None:
    new = Clinic(tmp_path / "new" / "clinic")
    made, then = new.say("init").splitlines()
    assert made == f"Made the database {new.home / 'rehab.db'}."
    assert then.endswith(f"phone numbers into {new.home / 'clinic.toml'}.")
    assert {path.name for path in new.home.iterdir()} == {"clinic.toml", "rehab.db", "tables"}


def test_making_a_clinic_again_keeps_all_that_is_there(asel: Clinic) -> None:
    before = asel.history("K-017")
    place = place_of(make_url(asel.database_url))
    assert asel.say("init") == f"The database {place} is up to date.\n"
    assert (asel.home / "clinic.toml").read_text() == CLINIC_TOML
    assert asel.history("K-017") == before


def test_the_demonstration_writes_a_page_letters_calendars_and_a_recall_list(
    demo: tuple[Path, list[str]],
) -> None:
    out, lines = demo
    assert {path.name for path in out.iterdir()} == {
        "arrivals.csv", "arrivals.toml", "calendars", "clinic", "letters", "recall.csv",
        "start-here.html",
    }  # fmt: skip
    letters = {path.stem for path in (out / "letters").glob("*.html")}
    assert letters == {path.stem for path in (out / "calendars").glob("*.ics")}
    children = json.loads(Clinic(out / "clinic").say("child list --json"))
    assert letters <= {child["number"] for child in children}
    recall = (out / "recall.csv").read_bytes().decode("utf-8-sig").splitlines()
    assert lines[-3:] == [
        f"Planned {len(children)} invented children from 2026-11-23: {len(letters)} letters and "
        f"calendars, {len(recall) - 1} families to contact.",
        f"Open {out / 'start-here.html'}",
        f"Ask:  rehab --home {out / 'clinic'} child list",
    ]


def test_every_letter_and_calendar_is_linked_from_the_page(demo: tuple[Path, list[str]]) -> None:
    out, _ = demo
    page = (out / "start-here.html").read_text(encoding="utf-8")
    for path in [*(out / "letters").iterdir(), *(out / "calendars").iterdir()]:
        assert f'href="{path.relative_to(out).as_posix()}"' in page


def test_the_demonstration_overwrites_nothing(clinic: Clinic, tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("keep")
    said = clinic.refuse(f"demo --out {tmp_path / 'mine'}")
    assert said == f"{tmp_path / 'mine'}: this folder is not empty. Choose a new one, or empty it."
    assert (tmp_path / "mine" / "notes.txt").read_text() == "keep"
