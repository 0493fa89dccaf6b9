"""Twenty kills at random moments each of import, refresh and booking: `python -m
tests.benchmarks.kills`. What a killed command leaves behind is whole or nothing."""

import argparse
import csv
import os
import random
import signal
import string
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from time import perf_counter, sleep

from rehab.care.case import CheckKind
from rehab.care.changes import follow
from rehab.care.diary import SessionPattern, Site
from rehab.refresh import Work, made_with, out_of_date
from rehab.settings import Settings, read_clinic
from rehab.store.store import create_or_upgrade, open_store
from rehab.workflow import Desk, open_desk, plan_of
from tests.benchmarks.region import STAMP, TODAY, fill
from tests.store.integrity import damage

REHAB = [sys.executable, "-c", "from rehab.cli.main import rehab; rehab()"]
WHO = ["--who", "a clerk", "--today", str(TODAY)]
NEW = 3000
SEED = 20


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--children", type=int, default=600)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "clinic"
        settings = _make(home, given.children)
        chance = random.Random(SEED)
        file, places = Path(folder) / "new.csv", Path(folder) / "places.csv"
        _write_new_children(file, chance)
        _run(home, "booking", "propose", "--until", str(TODAY + timedelta(days=60)),
             "--today", str(TODAY), "--out", str(places))  # fmt: skip
        with places.open(encoding="utf-8-sig", newline="") as lines:
            wanted = sum(bool(row["session"]) for row in csv.DictReader(lines))
        who = ["--who", "a clerk"]
        jobs = (
            Job("booking", ["booking", "accept", str(places), *who], _booked, wanted),
            Job("import", ["child", "import", str(file), "--write", *who], _new, NEW),
            # It goes on where it stopped: each time on another day, there is all to do again.
            Job("refresh", ["plan", "refresh", "--all"], _not_followed, 0, days_apart=1),
        )
        for job in jobs:
            _kill_often(home, settings, job, given.kills, chance)


@dataclass(frozen=True)
class Job:
    """A command; `count` must not change until it is done, and then by `whole`."""

    name: str
    command: list[str]
    count: Callable[[Desk, date], int]
    whole: int
    days_apart: int = 0


def _make(home: Path, children: int) -> Settings:
    home.mkdir()
    (home / "clinic.toml").write_text('name = "An invented region"\nphone = "+00 555 0100"\n')
    settings = Settings(home, read_clinic(home / "clinic.toml"))
    create_or_upgrade(settings.database_url)
    store = open_store(settings.database_url)
    fill(store, children)
    daily = SessionPattern(
        "daily", "north", date(2026, 1, 5), 8 * 60, 16 * 60, 960, "FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR"
    )
    asleep = replace(daily, code="asleep", kinds=tuple(CheckKind), under_anaesthesia=True)
    with store.transaction() as tx:
        for record in (Site("north", "North clinic"), daily, asleep):
            tx.add_to_diary(record, STAMP)
    store.close()
    return settings


def _write_new_children(file: Path, chance: random.Random) -> None:
    with file.open("w", encoding="utf-8", newline="") as out:
        lines = csv.writer(out)
        lines.writerow(["number", "name", "born", "surgery_1_eye", "surgery_1_on",
                        "surgery_1_procedure"])  # fmt: skip
        for n in range(NEW):
            born = date(2024, 1, 1) + timedelta(days=n % 700)
            name = "".join(chance.choices(string.ascii_lowercase, k=9)).title()
            lines.writerow([f"Q{n:05}", name, born, "right",
                            born + timedelta(days=200), "lens removal"])  # fmt: skip


def _run(home: Path, *words: str) -> None:
    subprocess.run([*REHAB, "--home", str(home), *words], check=True, stdout=subprocess.DEVNULL)


def _kill_often(
    home: Path, settings: Settings, job: Job, kills: int, chance: random.Random
) -> None:
    """Each kill comes at a random moment of the time that the job takes on a copy."""
    before = _count(settings, job, TODAY)
    seconds = _time_on_a_copy(home, [*job.command, "--today", str(TODAY)])
    killed = half_done = 0
    for kill in range(kills):
        on = TODAY + timedelta(days=job.days_apart * kill)
        process = _start(home, [*job.command, "--today", str(on)])
        sleep(chance.uniform(0.1, 0.95) * seconds)
        os.killpg(process.pid, signal.SIGKILL)
        killed += process.wait() == -signal.SIGKILL
        if broken := damage(settings.database_url):
            raise SystemExit(f"{job.name}: after kill {killed} the database is damaged: {broken}")
        half_done += _count(settings, job, on) not in (before, before + job.whole)
    on = TODAY + timedelta(days=job.days_apart * kills)
    _start(home, [*job.command, "--today", str(on)]).wait()
    print(
        f"{job.name}: {killed} of {kills} killed within {seconds:.1f} s of work: undamaged, "
        f"half-done {half_done}; then run to its end: {_count(settings, job, on) - before} of "
        f"{job.whole} more",
        flush=True,
    )


def _count(settings: Settings, job: Job, on: date) -> int:
    desk = open_desk(settings)
    try:
        return job.count(desk, on)
    finally:
        desk.store.close()


def _time_on_a_copy(home: Path, command: list[str]) -> float:
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "clinic"
        subprocess.run(["cp", "-r", str(home), str(copy)], check=True)
        start = perf_counter()
        _start(copy, command).wait()
        return perf_counter() - start


def _start(home: Path, command: list[str]) -> subprocess.Popen[bytes]:
    null = subprocess.DEVNULL
    return subprocess.Popen(
        [*REHAB, "--home", str(home), *command], stdout=null, stderr=null, start_new_session=True
    )


def _booked(desk: Desk, _: date) -> int:
    return len(desk.store.booked(TODAY, TODAY + timedelta(days=400)))


def _new(desk: Desk, _: date) -> int:
    return sum(child.number.startswith("Q") for child in desk.store.children())


def _not_followed(desk: Desk, on: date) -> int:
    """Of the children who count as planned on this day, those whose calendar would still change."""
    waiting = set(out_of_date(desk, Work(made_with(desk, on), follow=True)))
    numbers = [c.number for c in desk.store.children() if c.number not in waiting]
    changed = 0
    for start in range(0, len(numbers), 200):
        cases, entries, _ = desk.store.planning(numbers[start : start + 200])
        for number, case in cases.items():
            plan = plan_of(desk, case, today=on)
            changed += follow(entries[number], plan) != entries[number]
    return changed


if __name__ == "__main__":
    main()
