"""Work on many children in several processes: the same as in one, and told when one is ended."""

import os
import signal
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from rehab.care.case import Child
from rehab.errors import RehabError
from rehab.processes import CHILDREN_AT_ONCE, Numbers, in_batches
from rehab.settings import read_settings
from rehab.store.store import Stamp
from rehab.workflow import Desk, open_desk

BORN = date(2026, 2, 11)
CHILDREN = CHILDREN_AT_ONCE + 7


@pytest.fixture
def desk(new_home: Path, tmp_path: Path) -> Iterator[Desk]:
    (tmp_path / "clinic.toml").write_bytes((new_home / "clinic.toml").read_bytes())
    (tmp_path / "rehab.db").write_bytes((new_home / "rehab.db").read_bytes())
    opened = open_desk(read_settings(tmp_path, {}))
    stamp = Stamp("M. Okoro", datetime(2026, 4, 20, tzinfo=UTC))
    with opened.store.transaction() as tx:
        for n in range(CHILDREN):
            tx.add(f"K-{n}", Child(f"K-{n}", f"Child {n}", BORN), stamp)
    with closing(opened.store):
        yield opened


def names(desk: Desk, numbers: Numbers, greeting: str) -> list[str]:
    return [f"{greeting} {case.child.name}" for case in desk.store.cases(numbers)]


def be_ended(_: Desk, numbers: Numbers, when: str) -> int:
    if when in numbers:
        os.kill(os.getpid(), signal.SIGKILL)
    return len(numbers)


@pytest.mark.parametrize("processes", [1, 2])
def test_every_child_is_worked_on_once_in_however_many_processes(
    desk: Desk, processes: int
) -> None:
    numbers = [f"K-{n}" for n in range(CHILDREN)]
    made = [said for b in in_batches(desk, numbers, names, "hello", processes) for said in b]
    assert sorted(made) == sorted(f"hello Child {n}" for n in range(CHILDREN))


def test_a_process_that_is_ended_from_outside_is_told_in_words(desk: Desk) -> None:
    numbers = [f"K-{n}" for n in range(CHILDREN)]
    with pytest.raises(RehabError, match="one of the processes that work was ended from outside"):
        list(in_batches(desk, numbers, be_ended, f"K-{CHILDREN - 1}", 2))
