"""A table of 300 MB judged in a dry run: `python -m tests.benchmarks.bench_import`."""

import argparse
import csv
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from time import perf_counter, process_time

from rehab.import_lines import COLUMNS
from rehab.store.store import create_or_upgrade

REHAB = "from rehab.cli.main import rehab; rehab()"
TODAY = date(2026, 4, 20)
MOST_MB = 500
SYLLABLES = ("ba", "du", "ce", "la", "mi", "no", "ra", "su", "ti", "wa", "yo", "ze")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--megabytes", type=int, default=300)
    parser.add_argument("--children", type=int, default=2000, help="How many to write and repeat.")
    given = parser.parse_args()
    folder = Path(tempfile.mkdtemp())
    try:
        home = folder / "clinic"
        home.mkdir()
        (home / "clinic.toml").write_text('name = "An invented region"\nphone = "+00 555 0100"\n')
        create_or_upgrade(f"sqlite:///{home / 'rehab.db'}")
        _write_and_repeat(folder, home, given.children)
        _large(folder, home, given.megabytes)
    finally:
        shutil.rmtree(folder)


def _write_and_repeat(folder: Path, home: Path, children: int) -> None:
    path = folder / "some.csv"
    count = _save(path, children=children)
    for what, more in (("written", ["--write"]), ("unchanged", ["--write"]), ("judged again", [])):
        took, busy, peak, said = _import(home, path, more)
        print(f"{count} children {what}: {took:.1f} s ({busy:.1f} s busy), {peak:.0f} MB")
        print(f"    {said.strip().splitlines()[-1]}", flush=True)


def _large(folder: Path, home: Path, megabytes: int) -> None:
    path = folder / "large.csv"
    count = _save(path, size=megabytes * 1_000_000)
    print(f"{path.stat().st_size / 1e6:.0f} MB, {count} lines", flush=True)
    start = process_time()
    with path.open(encoding="utf-8-sig", newline="") as file:
        assert sum(1 for _ in csv.reader(file)) == count + 1
    alone = process_time() - start
    report = folder / "report.csv"
    took, busy, peak, said = _import(home, path, ["--report", str(report)])
    print(f"    dry run {took:.0f} s, {busy:.0f} s of them busy: {count / busy:.0f} lines/s")
    print(f"    at most {peak:.0f} MB of memory")
    print(f"    csv.reader alone {alone:.1f} s busy: {busy / alone:.0f} times as long")
    print(f"    report {report.stat().st_size / 1e6:.0f} MB; {said.strip().splitlines()[-1]}")
    assert peak < MOST_MB, f"more than {MOST_MB} MB"


def _save(path: Path, *, children: int = sys.maxsize, size: int = sys.maxsize) -> int:
    """Invented children, born on the days of eighteen years, each line about 230 bytes."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(COLUMNS)
        for n, line in enumerate(_lines(), 1):
            writer.writerow(line)
            if n == children or (n % 1000 == 0 and file.tell() >= size):
                break
    return n


def _lines() -> Iterator[list[str]]:
    n = 0
    while True:
        n += 1
        born = TODAY - timedelta(days=200 + n * 7919 % 6570)
        cells = dict.fromkeys(COLUMNS, "")
        cells |= {
            "number": f"K-{n:07}",
            "name": _name(n),
            "born": str(born),
            "gestation_weeks": "38",
            "language": "en",
            "phone": f"+00 555 {n:07}",
            "contact_name": f"Parent {n}",
            "contact_relation": "mother",
            "contact_address": f"House {n}, Long Lane by the Old Market, Invented Town",
            "contact_text_consent": "yes",
            "surgery_1_eye": "left" if n % 2 else "right",
            "surgery_1_on": str(born + timedelta(days=42 + n % 100)),
            "surgery_1_procedure": "lens removal",
            "surgery_1_sutures": "absorbable",
            "surgery_1_cause": "congenital",
            "weekdays": "Monday, Thursday",
        }
        yield list(cells.values())


def _name(n: int) -> str:
    # A step that shares no factor with the number of names, so that neighbours differ.
    mixed = n * 7_368_787 % len(SYLLABLES) ** 7
    parts = []
    for _ in range(7):
        mixed, which = divmod(mixed, len(SYLLABLES))
        parts.append(SYLLABLES[which])
    return f"{''.join(parts[:3]).title()} {''.join(parts[3:]).title()}"


def _import(home: Path, path: Path, more: list[str]) -> tuple[float, float, float, str]:
    """Seconds, those of them in which a processor worked for it (others may share the machine),
    the most memory in MB, and what was printed."""
    words = ["--home", str(home), "child", "import", str(path), "--who", "A bench", *more]
    start = perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-c", REHAB, *words, "--today", str(TODAY)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    said = process.stdout.read()
    _, _, used = os.wait4(process.pid, 0)
    process.returncode = 0
    busy = used.ru_utime + used.ru_stime
    return perf_counter() - start, busy, used.ru_maxrss / 1024, said


if __name__ == "__main__":
    main()
