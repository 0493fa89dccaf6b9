"""A region of 100,000 children, in one run: `python -m tests.benchmarks.bench_region`."""

import argparse
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median
from time import perf_counter, sleep

from rehab.cli.recall import in_chunks
from rehab.recall_desk import StoredList
from rehab.refresh import Work, made_with, out_of_date
from rehab.settings import Settings, read_clinic
from rehab.store.store import create_or_upgrade, open_store
from rehab.workflow import open_desk
from tests.benchmarks.region import TODAY, fill

REHAB = [sys.executable, "-c", "from rehab.cli.main import rehab; rehab()"]
RUNS = 5


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--children", type=int, default=100_000)
    parser.add_argument("--keep", type=Path, help="A folder to make or use again.")
    given = parser.parse_args()
    folder = given.keep or Path(tempfile.mkdtemp())
    home = folder / "clinic"
    try:
        if not home.exists():
            _make(home, given.children)
        _refresh(home)
        _list(home)
    finally:
        if given.keep is None:
            shutil.rmtree(folder)


def _make(home: Path, children: int) -> None:
    home.mkdir(parents=True)
    (home / "clinic.toml").write_text('name = "An invented region"\nphone = "+00 555 0100"\n')
    settings = Settings(home, read_clinic(home / "clinic.toml"))
    create_or_upgrade(settings.database_url)
    store = open_store(settings.database_url)
    start = perf_counter()
    fill(store, children)
    store.close()
    size = (home / "rehab.db").stat().st_size / 1e6
    print(f"{children} children with three years of history: {size:.0f} MB")
    print(f"    made in {perf_counter() - start:.0f} s", flush=True)


def _refresh(home: Path) -> None:
    """Killed once half-way; what was done by then must not be done again."""
    settings = Settings(home, read_clinic(home / "clinic.toml"))
    total = len(_left(settings))
    command = [*REHAB, "--home", str(home), "plan", "refresh", "--all", "--today", str(TODAY)]
    first = _start(command)
    sleep(20)
    os.killpg(first.pid, signal.SIGKILL)
    first.wait()
    left = len(_left(settings))
    print(f"refresh killed after 20 s: {total - left} of {total} done, {left} left")
    start = perf_counter()
    second = _start(command)
    most = 0
    while second.poll() is None:
        most = max(most, _resident_kb(second.pid))
        sleep(0.2)
    took = perf_counter() - start
    print(f"refresh of the {left} left: {took:.0f} s, {left / took:.0f} children/s")
    print(f"    memory of all its processes together: at most {most / 1024:.0f} MB")
    print(f"    left to do afterwards: {len(_left(settings))}", flush=True)


def _start(command: list[str]) -> subprocess.Popen[bytes]:
    null = subprocess.DEVNULL
    return subprocess.Popen(command, stdout=null, stderr=null, start_new_session=True)


def _left(settings: Settings) -> tuple[str, ...]:
    desk = open_desk(settings)
    try:
        return out_of_date(desk, Work(made_with(desk, TODAY), follow=True))
    finally:
        desk.store.close()


def _resident_kb(group: int) -> int:
    """The proportional share of memory, so that what processes share is counted once."""
    total = 0
    for status in Path("/proc").glob("[0-9]*"):
        try:
            if os.getpgid(int(status.name)) != group:
                continue
            rollup = (status / "smaps_rollup").read_text()
        except (OSError, ProcessLookupError):
            continue
        total += next(int(x.split()[1]) for x in rollup.splitlines() if x.startswith("Pss:"))
    return total


def _list(home: Path) -> None:
    """The whole list printed by the program's command into a file, beside the same rows of the
    same query fetched by the bare driver; then the first page."""
    settings = Settings(home, read_clinic(home / "clinic.toml"))
    desk = open_desk(settings)
    listed = StoredList(desk.store)
    ours, bare = [], []
    for _ in range(RUNS):
        start = perf_counter()
        with Path(os.devnull).open("w") as out:
            for lines in in_chunks(listed.blocks(None)):
                print("\n".join(lines), file=out)
        ours.append(perf_counter() - start)
        start = perf_counter()
        rows = _bare_rows(home / "rehab.db")
        bare.append(perf_counter() - start)
    desk.store.close()
    ratio = median(ours) / median(bare)
    print(f"recall list of {rows} families: {median(ours):.2f} s; bare SQL {median(bare):.2f} s")
    print(f"    ratio {ratio:.2f} (limit 1.5), each the median of {RUNS}")
    options = ["recall", "list", "--today", str(TODAY)]
    whole = _seconds([*REHAB, "--home", str(home), *options])
    page = _seconds([*REHAB, "--home", str(home), *options, "--first", "40"])
    print(f"    as a command, from its start to its end: {whole:.2f} s")
    print(f"    first page (--first 40), from its start to its end: {page:.2f} s (limit 1)")


def _bare_rows(database: Path) -> int:
    connection = sqlite3.connect(database)
    query = "SELECT heading, block FROM recall_line WHERE listed = 1 ORDER BY place"
    found = len(connection.execute(query).fetchall())
    connection.close()
    return found


def _seconds(command: list[str]) -> float:
    def once() -> float:
        start = perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        return perf_counter() - start

    return median(once() for _ in range(RUNS))


if __name__ == "__main__":
    main()
