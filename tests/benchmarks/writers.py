"""Many workstations that write at once, on SQLite and on PostgreSQL: is anything lost or doubled?

Run it with: python -m tests.benchmarks.writers --seconds 60 --writers 16
"""

import argparse
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path
from random import Random
from time import perf_counter, sleep, time

from rehab.booking_desk import Wanted, book
from rehab.care.case import Child, Examination, Eye, Method, Regimen
from rehab.care.diary import SessionPattern, Site
from rehab.care.wear import WearDay
from rehab.errors import RecordError, RehabError
from rehab.settings import Clinic, Settings
from rehab.store.store import Stamp, Store, create_or_upgrade, open_store
from rehab.workflow import Desk, open_desk
from tests.postgres import running_server
from tests.store.integrity import damage

TODAY = date(2026, 3, 2)
# For whom all contend: with so few children, hardly a writer finds what it saw a moment ago.
SHARED = tuple(f"S-{n}" for n in range(4))
CHILDREN_PER_WRITER = 20
CAPACITY_MINUTES, VISIT_MINUTES = 60, 15
# So that each writer is ready before the first begins.
SECONDS_TO_GET_READY = 2
BY_SOMEONE_ELSE = "changed by someone else"
FULL = "session was full"


@dataclass(slots=True)
class Written:
    """What one writer was told: acknowledged keys with version and reason, and refusals."""

    acknowledged: list[tuple[str, int, str]] = field(default_factory=list)
    refused: Counter[str] = field(default_factory=Counter)
    errors: list[str] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--writers", type=int, default=16)
    asked = parser.parse_args()
    good = True
    rates: dict[str, float] = {}
    print(f"{asked.writers} writers for {asked.seconds} s, each write made to last on the disk")
    for name, address in _databases():
        settings = Settings(Path(tempfile.gettempdir()), Clinic("A clinic"), address)
        _prepare(address, asked.writers)
        told = _write(settings, asked.writers, asked.seconds)
        wrong = _wrong(address, told)
        rates[name] = _report(name, told, wrong, asked.seconds)
        good = good and not wrong and not any(writer.errors for writer in told)
    ratio = rates["PostgreSQL"] / rates["SQLite"]
    print(f"PostgreSQL writes {ratio:.2f} times as often as SQLite")
    sys.exit(0 if good else 1)


def _databases() -> Iterator[tuple[str, str]]:
    with tempfile.TemporaryDirectory() as folder:
        yield "SQLite", f"sqlite:///{folder}/rehab.db"
    with running_server(settings=()) as server:
        yield "PostgreSQL", server.create()


def _stamp(reason: str) -> Stamp:
    return Stamp("a writer", datetime.now(UTC), reason)


def _prepare(address: str, writers: int) -> None:
    create_or_upgrade(address)
    own = (_own(n, child) for n in range(writers) for child in range(CHILDREN_PER_WRITER))
    with closing(open_store(address)) as store, store.transaction() as tx:
        for number in (*SHARED, *own):
            tx.add(number, Child(number, "An Example", date(2025, 1, 1)), _stamp(""))
        for number in SHARED:
            agreed = Regimen("", Eye.LEFT, Method.PATCH, 60, 7, TODAY, "an orthoptist", "as agreed")
            tx.add(number, agreed, _stamp(""))
        tx.add_to_diary(Site("clinic", "A clinic"), _stamp(""))
        daily = SessionPattern(
            "day", "clinic", TODAY, 9 * 60, 12 * 60, CAPACITY_MINUTES, "FREQ=DAILY"
        )
        tx.add_to_diary(daily, _stamp(""))


def _own(writer: int, child: int) -> str:
    return f"W{writer}-{child}"


def _write(settings: Settings, writers: int, seconds: int) -> list[Written]:
    with ProcessPoolExecutor(writers, get_context("spawn")) as pool:
        # A worker takes one task at a time, so that as many are started as there are writers.
        list(pool.map(_get_ready, range(writers)))
        start = time() + SECONDS_TO_GET_READY
        asked = [pool.submit(_work, settings, n, start, seconds) for n in range(writers)]
        return [future.result() for future in asked]


def _get_ready(_: int) -> None:
    sleep(SECONDS_TO_GET_READY)


def _work(settings: Settings, writer: int, start: float, seconds: int) -> Written:
    """One person's day at one machine; everyone's day has the same mixture of work."""
    told, chance = Written(), Random(writer)
    with closing((desk := open_desk(settings)).store):
        person = _Person(desk, writer, chance)
        sleep(max(0.0, start - time()))
        while time() < start + seconds:
            action = chance.choice((person.change_regimen, person.change_regimen, person.book,
                                    person.tell_wear, person.examine))  # fmt: skip
            begun = perf_counter()
            _try(action, told)
            told.seconds.append(perf_counter() - begun)
    return told


def _try(action: Callable[[], tuple[str, int, str]], told: Written) -> None:
    try:
        told.acknowledged.append(action())
    except RecordError as error:
        if BY_SOMEONE_ELSE in str(error):
            told.refused[BY_SOMEONE_ELSE] += 1
        elif "minutes left" in str(error):
            told.refused[FULL] += 1
        else:
            told.errors.append(str(error))
    except RehabError as error:
        told.errors.append(str(error))


@dataclass(slots=True)
class _Person:
    desk: Desk
    writer: int
    chance: Random
    count: int = 0
    day: date = TODAY

    def change_regimen(self) -> tuple[str, int, str]:
        """Looks, thinks, and changes what was seen: the second of two must be told."""
        number, reason = self.chance.choice(SHARED), self._reason()
        store = self.desk.store
        key = f"{number}/R1"
        seen = store.version(key)
        (regimen,) = store.case(number).regimens
        sleep(self.chance.uniform(0, 0.02))
        changed = replace(regimen, minutes_per_day=self.chance.randrange(30, 300))
        with store.transaction() as tx:
            return key, tx.correct(key, changed, _stamp(reason), seen), reason

    def book(self) -> tuple[str, int, str]:
        """All want the first day with room, which fills while they look."""
        number = _own(self.writer, self.count % CHILDREN_PER_WRITER)
        reason = self._reason()
        try:
            wanted = Wanted(self.day, minutes=VISIT_MINUTES)
            made = book(self.desk, number, wanted, today=TODAY, stamp=_stamp(reason))
        finally:
            self.day += timedelta(days=1)
        return made.id, 1, reason

    def tell_wear(self) -> tuple[str, int, str]:
        number, reason = self.chance.choice(SHARED), self._reason()
        on = self._day_of_my_own()
        with self.desk.store.transaction() as tx:
            tx.record_wear(number, (WearDay(on, 60),), _stamp(reason))
        return f"{number}/W{on:%Y%m%d}", 1, reason

    def examine(self) -> tuple[str, int, str]:
        number, reason = self.chance.choice(SHARED), self._reason()
        with self.desk.store.transaction() as tx:
            return tx.add(number, Examination("", self._day_of_my_own()), _stamp(reason)), 1, reason

    def _reason(self) -> str:
        self.count += 1
        return f"{self.writer}.{self.count}"

    def _day_of_my_own(self) -> date:
        return TODAY + timedelta(days=self.count * 64 + self.writer)


def _wrong(address: str, told: list[Written]) -> list[str]:
    """What was acknowledged and is not there, what has gaps, and what holds more than it can."""
    wrong = damage(address)
    with closing(open_store(address)) as store:
        kept = _kept(store)
        booked = store.booked(TODAY, date.max)
    written = {(key, number, reason) for key, versions in kept.items()
               for number, reason in versions if reason}  # fmt: skip
    acknowledged = [one for writer in told for one in writer.acknowledged]
    wrong += [f"acknowledged and lost: {one}" for one in set(acknowledged) - written]
    wrong += [f"written and not acknowledged: {one}" for one in written - set(acknowledged)]
    if len(set(acknowledged)) < len(acknowledged):
        wrong.append("one version was acknowledged twice")
    for key, versions in kept.items():
        if sorted(number for number, _ in versions) != list(range(1, len(versions) + 1)):
            wrong.append(f"versions of {key} have gaps")
    minutes: Counter[str] = Counter()
    for _, appointment in booked:
        minutes[appointment.session] += appointment.minutes
    wrong += [f"{s} holds {m} minutes" for s, m in minutes.items() if m > CAPACITY_MINUTES]
    hours = Counter((a.session, a.starts_minute) for _, a in booked)
    wrong += [f"{s} has {n} at minute {m}" for (s, m), n in hours.items() if n > 1]
    return wrong


def _kept(store: Store) -> dict[str, list[tuple[int, str]]]:
    kept: dict[str, list[tuple[int, str]]] = defaultdict(list)
    for child in store.children():
        for version in store.history(child.number):
            kept[version.key].append((version.version, version.stamp.reason))
    return kept


def _report(name: str, told: list[Written], wrong: list[str], seconds: int) -> float:
    """Prints what came of it; returns how many writes were made in a second."""
    commits = sum(len(writer.acknowledged) for writer in told)
    refused = sum((writer.refused for writer in told), Counter[str]())
    errors = [error for writer in told for error in writer.errors]
    took = sorted(s for writer in told for s in writer.seconds)
    share = sorted(len(writer.acknowledged) for writer in told)
    print(f"\n{name}")
    print(f"  written                     {commits:7}  ({commits / seconds:.0f} a second)")
    print(f"  told {BY_SOMEONE_ELSE} {refused[BY_SOMEONE_ELSE]:7}")
    print(f"  told the {FULL}   {refused[FULL]:7}")
    print(f"  other errors                {len(errors):7}  (must be 0)")
    print(f"  lost, doubled, over-full    {len(wrong):7}  (must be 0)")
    print(f"  seconds for one             median {took[len(took) // 2]:.3f}, "
          f"99 of 100 under {took[len(took) * 99 // 100]:.3f}, longest {took[-1]:.3f}")  # fmt: skip
    print(f"  writes of one writer        {share[0]} to {share[-1]}")
    for line in (*errors[:5], *wrong[:5]):
        print(f"  {line}")
    return commits / seconds


if __name__ == "__main__":
    main()
