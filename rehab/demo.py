"""The demonstration: the whole job on an invented clinic, from records to calendars and letters."""

import shutil
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from rehab.calendars import calendar_file
from rehab.case_files import CaseFile, read_cases, read_diary
from rehab.errors import RehabError
from rehab.letter_desk import Wish, Writing
from rehab.letters.html_page import html_of
from rehab.letters.overview import Line, overview
from rehab.recall_files import recall_csv
from rehab.settings import CLINIC_FILE, TABLES_FOLDER, read_settings
from rehab.shipped_files import shipped
from rehab.store.store import Stamp, create_or_upgrade
from rehab.whole_files import write_whole
from rehab.workflow import Desk, open_desk, recall, refresh, register

CHILDREN_FILE = "children.toml"
DIARY_FILE = "diary.toml"
# Children who come from another place, to be imported, and how that table is to be read.
ARRIVALS = ("arrivals.csv", "arrivals.toml")
RECALL_DAYS = 14


@dataclass(frozen=True, slots=True)
class Made:
    """What a demonstration wrote."""

    today: date
    children: int
    letters: int
    to_contact: int


def demo_cases() -> CaseFile:
    return read_cases(shipped("demo_data") / CHILDREN_FILE)


def make_folder(home: Path, clinic_file: Path) -> None:
    """A clinic's folder with its file and its tables folder; keeps what is there."""
    home.mkdir(parents=True, exist_ok=True)
    if not (home / CLINIC_FILE).exists():
        write_whole(home / CLINIC_FILE, clinic_file.read_bytes())
    (home / TABLES_FOLDER).mkdir(exist_ok=True)


def run_demo(out: Path, today: date | None, told: Callable[[str], None]) -> Made:
    """Fill the folder `out`; raises RehabError when it is not empty or the records are newer."""
    if out.exists() and any(out.iterdir()):
        raise RehabError(
            "this folder is not empty.", where=str(out), do="Choose a new one, or empty it."
        )
    cases = demo_cases()
    day = today or cases.today
    if day < cases.today:
        raise RehabError(
            f"the invented records go up to {cases.today}, so no plan can stand on {day}.",
            where="demo",
            do="Leave out --today, or give a later day.",
        )
    try:
        make_folder(out / "clinic", shipped("demo_data") / CLINIC_FILE)
        # Invented children belong into a file of their own, whatever database the clinic uses.
        settings = read_settings(out / "clinic", environ={})
        create_or_upgrade(settings.database_url)
        desk = open_desk(settings)
        stamp = Stamp("demo", datetime(day.year, day.month, day.day, tzinfo=UTC), "invented data")
        with closing(desk.store):
            with desk.store.transaction() as tx:
                for record in read_diary(shipped("demo_data") / DIARY_FILE):
                    tx.add_to_diary(record, stamp)
            for child in cases.told:
                register(desk, child.case, child.wear, today=day, stamp=stamp)
            return _write_all(desk, cases, out, day, told)
    except BaseException:
        shutil.rmtree(out, ignore_errors=True)
        raise


def _write_all(
    desk: Desk, cases: CaseFile, out: Path, today: date, told: Callable[[str], None]
) -> Made:
    lines: list[Line] = []
    writing = Writing(desk, today)
    for child in cases.told:
        number = child.case.child.number
        plan, _, entries = refresh(desk, number, today=today)
        active = bool(plan.visits or plan.checks or plan.occlusion)
        if active:
            write_whole(
                out / "calendars" / f"{number}.ics",
                calendar_file(plan.child, entries, desk.settings.clinic),
            )
            write_whole(
                out / "letters" / f"{number}.html",
                html_of(writing.letter(Wish("family"), child.case).letter).encode(),
            )
        lines.append(Line(plan, child.story, active))
        told(f"{number}  {child.story.partition(':')[0].rstrip('.')}.")
    to_contact = recall(desk, today=today, by=today + timedelta(days=RECALL_DAYS))
    write_whole(out / "recall.csv", recall_csv(to_contact, today))
    for name in ARRIVALS:
        write_whole(out / name, (shipped("demo_data") / name).read_bytes())
    write_whole(
        out / "start-here.html",
        overview(tuple(lines), to_contact, desk.settings.clinic, today).encode(),
    )
    return Made(today, len(lines), sum(line.active for line in lines), len(to_contact))
