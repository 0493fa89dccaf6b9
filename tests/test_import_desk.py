"""Judging and writing are two readings of one file: what changed between them writes nothing."""

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from rehab.care.case import Child
from rehab.errors import RecordError
from rehab.import_desk import LINES_AT_ONCE, Job, Status, Tally, Verdict, judge, write
from rehab.import_files import open_table
from rehab.import_lines import Meaning
from rehab.import_mapping import Explained
from rehab.settings import read_settings
from rehab.store.store import Stamp
from rehab.workflow import Desk, add_child, open_desk
from tests.conftest import Clinic

TODAY = date(2026, 4, 20)
STAMP = Stamp("a coordinator", datetime(2026, 4, 20, 9, tzinfo=UTC))


@pytest.fixture
def desk(clinic: Clinic) -> Iterator[Desk]:
    opened = open_desk(read_settings(clinic.home, {}))
    yield opened
    opened.store.close()


def save(path: Path, count: int, name: str = "Ama") -> Path:
    lines = [f"K-{n},{name} {n},{date(2026, 1, 1).replace(day=1 + n % 28)}" for n in range(count)]
    path.write_text("\n".join(("number,name,born", *lines)))
    return path


def job_of(desk: Desk, path: Path) -> Job:
    numbers = frozenset(f"K-{n}" for n in range(LINES_AT_ONCE * 2))
    return Job(desk, open_table(path, Explained()), Meaning(TODAY), numbers)


def tally_of(job: Job) -> Tally:
    tally = Tally()
    for verdict in judge(job):
        tally.add(verdict)
    return tally


def test_more_lines_than_are_written_at_once_are_all_written_and_all_told(
    desk: Desk, tmp_path: Path
) -> None:
    count = LINES_AT_ONCE + 3
    job = job_of(desk, save(tmp_path / "t.csv", count))
    told: list[Verdict] = []
    write(job, tally_of(job), STAMP, told.append)
    assert [v.row.line for v in told] == list(range(2, count + 2))
    assert len(desk.store.children()) == count
    assert tally_of(job).counts == {Status.UNCHANGED: count}


def test_a_file_that_changed_after_it_was_judged_writes_nothing(desk: Desk, tmp_path: Path) -> None:
    job = job_of(desk, save(tmp_path / "t.csv", 3))
    judged = tally_of(job)
    save(tmp_path / "t.csv", 4)
    with pytest.raises(RecordError, match="changed between checking and writing") as refusal:
        write(job, judged, STAMP, lambda verdict: None)
    assert refusal.value.do == "Nothing was written. Do it again."
    assert desk.store.children() == ()


def test_records_that_changed_after_the_file_was_judged_are_not_written_over(
    desk: Desk, tmp_path: Path
) -> None:
    job = job_of(desk, save(tmp_path / "t.csv", 3))
    judged = tally_of(job)
    other = Child("K-1", "Somebody Else", date(2026, 1, 2))
    add_child(desk, other, today=TODAY, stamp=STAMP)
    with pytest.raises(RecordError, match="changed between checking and writing"):
        write(job, judged, STAMP, lambda verdict: None)
    assert desk.store.children() == (other,)


def test_when_telling_of_it_fails_nothing_is_half_written(desk: Desk, tmp_path: Path) -> None:
    job = job_of(desk, save(tmp_path / "t.csv", LINES_AT_ONCE + 3))

    def stop(verdict: Verdict) -> None:
        if verdict.row.line > LINES_AT_ONCE:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write(job, tally_of(job), STAMP, stop)
    assert desk.store.children() == ()
