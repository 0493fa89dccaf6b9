"""How long a plan takes, and help: `python -m tests.benchmarks.bench_plan`."""

import subprocess
import sys
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from datetime import date, timedelta
from itertools import cycle, islice
from random import Random
from statistics import median
from time import perf_counter
from typing import Any

from rehab.care.case import Case
from rehab.care.plan import make_plan
from rehab.demo import demo_cases
from rehab.measures.dates import add_months
from rehab.rules.protocol import Protocol
from rehab.settings import Clinic, open_days
from rehab.table_files import read_protocol

SEED, MONTHS_AHEAD, MOST_DAYS_MOVED = 1, 18, 28
FEW, MANY = 1_000, 10_000
HELP_RUNS = 20
HELP = "from rehab.cli.main import rehab; rehab(['--help'])"
BARE = "import click"


def moved(record: Any, days: int) -> Any:
    """`record` with every date in it moved by `days`."""
    if isinstance(record, date):
        return record + timedelta(days=days)
    if isinstance(record, tuple):
        return tuple(moved(part, days) for part in record)
    if is_dataclass(record) and not isinstance(record, type):
        values = {field.name: getattr(record, field.name) for field in fields(record)}
        return replace(record, **{name: moved(value, days) for name, value in values.items()})
    return record


def children(number: int, cases: tuple[Case, ...]) -> Iterator[Case]:
    """The cases over and over, each time moved by up to four weeks into the past."""
    random = Random(SEED)
    for case in islice(cycle(cases), number):
        yield moved(case, -random.randint(0, MOST_DAYS_MOVED))


def seconds_to_plan(cases: tuple[Case, ...], protocol: Protocol, today: date) -> list[float]:
    horizon = add_months(today, MONTHS_AHEAD)
    days = open_days(Clinic("A clinic"), today, horizon)
    took: list[float] = []
    for case in cases:
        start = perf_counter()
        make_plan(case, protocol, today=today, horizon=horizon, open_days=days)
        took.append(perf_counter() - start)
    return took


def seconds_to_run(program: str) -> float:
    start = perf_counter()
    subprocess.run([sys.executable, "-c", program], check=True, capture_output=True)
    return perf_counter() - start


def main() -> None:
    told = demo_cases()
    cases = tuple(child.case for child in told.told)
    protocol = read_protocol()
    few = seconds_to_plan(tuple(children(FEW, cases)), protocol, told.today)
    many = seconds_to_plan(tuple(children(MANY, cases)), protocol, told.today)
    print(
        f"one child's plan: median {median(many) * 1000:.2f} ms, slowest {max(many) * 1000:.1f} ms"
    )
    print(f"{FEW} children:  {sum(few):.2f} s")
    print(f"{MANY} children: {sum(many):.2f} s, {sum(many) / sum(few):.2f} times as long")
    pairs = [(seconds_to_run(HELP), seconds_to_run(BARE)) for _ in range(HELP_RUNS)]
    shown, bare = (median(column) for column in zip(*pairs, strict=True))
    print(
        f"rehab --help: {shown * 1000:.0f} ms, importing click alone {bare * 1000:.0f} ms: "
        f"{shown / bare:.2f} times as long"
    )


if __name__ == "__main__":
    main()
