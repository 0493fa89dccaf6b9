"""A program killed while it writes leaves only whole records, and can simply start again."""

import random
import signal
import subprocess
import sys
import time
from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path

from rehab.care.case import Child
from rehab.store.store import Stamp, Store
from tests.store.integrity import damage

ROOT = Path(__file__).parents[2]
EXAMINATIONS = 200
WRITER = """
import os, signal, sys
from datetime import UTC, date, datetime, timedelta
from rehab.care.case import Examination, Eye, EyeFindings
from rehab.measures.acuity import parse_acuity
from rehab.store.store import Stamp, open_store

url, count, die_inside = sys.argv[1], int(sys.argv[2]), sys.argv[3] == "die inside"
stamp = Stamp("a nurse", datetime(2026, 3, 2, tzinfo=UTC))
written = tuple(parse_acuity(text) for text in ("6/18", "20/40-1", "0.30 logMAR"))
findings = tuple(EyeFindings(eye, written) for eye in Eye)
store = open_store(url)
done = {examination.on for examination in store.case("M-014").examinations}
for day in range(count):
    on = date(2026, 1, 1) + timedelta(days=day)
    if on not in done:
        with store.transaction() as tx:
            tx.add("M-014", Examination("", on, findings), stamp)
            if die_inside:
                os.kill(os.getpid(), signal.SIGKILL)
        print(on, flush=True)
"""


def _start(url: str, mode: str = "") -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, url, str(EXAMINATIONS), mode],
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"},
        stdout=subprocess.PIPE,
        text=True,
    )


def _refuse_anything_but_whole_records(store: Store) -> int:
    assert damage(store.engine.url.render_as_string(hide_password=False)) == []
    examinations = store.case("M-014").examinations
    assert len({e.on for e in examinations}) == len(examinations), "an examination is doubled"
    for examination in examinations:
        assert [len(found.acuities) for found in examination.findings] == [3, 3]
    return len(examinations)


def _add_child(store: Store, stamp: Stamp) -> None:
    with store.transaction() as tx:
        tx.add("M-014", Child("M-014", "Ann Example", date(2026, 1, 1)), stamp)


def test_killed_at_any_moment_records_are_whole_and_the_rest_can_be_written(
    store: Store, made_url: str, stamp: Stamp
) -> None:
    _add_child(store, stamp)
    moments = random.Random(14)
    counts = [0]
    for _ in range(5):
        writer = _start(made_url)
        assert writer.stdout is not None
        for _ in range(moments.randint(1, 25)):
            assert writer.stdout.readline()
        time.sleep(moments.uniform(0, 0.005))
        writer.send_signal(signal.SIGKILL)
        writer.communicate()
        assert writer.returncode == -signal.SIGKILL, "it must not have come to its end"
        counts.append(_refuse_anything_but_whole_records(store))
    assert all(before < after for before, after in pairwise(counts))

    finisher = _start(made_url)
    finisher.communicate()
    assert finisher.returncode == 0
    assert _refuse_anything_but_whole_records(store) == EXAMINATIONS
    assert {version.version for version in store.history("M-014")} == {1}


def test_killed_inside_a_transaction_nothing_of_it_remains(store: Store, made_url: str) -> None:
    _add_child(store, Stamp("a nurse", datetime(2026, 3, 2, tzinfo=UTC)))
    writer = _start(made_url, "die inside")
    writer.communicate()
    assert writer.returncode == -signal.SIGKILL
    assert _refuse_anything_but_whole_records(store) == 0
