"""Best visits against the fewest trips alone: `python -m tests.benchmarks.bench_visits`."""

from bisect import bisect_right
from collections.abc import Sequence
from datetime import date, timedelta
from random import Random
from statistics import median
from time import perf_counter

from rehab.care.case import CheckKind, Eye
from rehab.care.checks import Check, Status
from rehab.care.visits import Visit, plan_visits
from rehab.rules.protocol import Because

TODAY = date(2026, 3, 2)
HORIZON_DAYS, CHILDREN, REPEATS = 550, 40, 7
BECAUSE = Because("pressure_check", TODAY, "a-row", "assumption", "", "", False, "", ())
# Days between two checks of a series, and days of tolerance to either side.
SERIES = {
    CheckKind.REVIEW: (56, 10),
    CheckKind.PRESSURE: (91, 21),
    CheckKind.VISUAL_AXIS: (60, 14),
    CheckKind.REFRACTION: (45, 10),
    CheckKind.CONTACT_LENS: (90, 14),
    CheckKind.FUNDUS: (182, 28),
    CheckKind.OCCLUSION: (84, 14),
}


def checks_of(random: Random) -> list[Check]:
    """About 90 checks of a child with both eyes operated on different days."""
    return [
        _check(kind, eye, ordinal, start + ordinal * apart + random.randint(-3, 3), tolerance)
        for eye, start in ((Eye.RIGHT, random.randint(-20, 0)), (Eye.LEFT, random.randint(-20, 20)))
        for kind, (apart, tolerance) in SERIES.items()
        for ordinal in range(1, (HORIZON_DAYS - tolerance - start) // apart)
    ]


def _check(kind: CheckKind, eye: Eye, ordinal: int, target: int, tolerance: int) -> Check:
    earliest, best, latest = (
        TODAY + timedelta(days=n) for n in (target - tolerance, target, target + tolerance)
    )
    return Check(kind, eye, TODAY, ordinal, earliest, best, latest, latest, Status.PLANNED, BECAUSE)


def fewest_trips(checks: Sequence[Check], open_days: Sequence[date]) -> tuple[Visit, ...]:
    """The greedy pass: each trip waits for the last open day of the most pressing window."""
    waiting = sorted(checks, key=lambda c: c.by)
    visits: list[Visit] = []
    while waiting:
        on = open_days[bisect_right(open_days, waiting[0].by) - 1]
        served = tuple(c for c in waiting if c.earliest <= on)
        waiting = [c for c in waiting if c.earliest > on]
        visits.append(Visit(on, max(c.earliest for c in served), min(c.by for c in served), served))
    return tuple(visits)


def _days_off(visits: Sequence[Visit]) -> int:
    return sum(abs((visit.on - c.target).days) for visit in visits for c in visit.checks)


def main() -> None:
    random = Random(1)
    days = [TODAY + timedelta(days=n) for n in range(HORIZON_DAYS)]
    open_days = [day for day in days if day.weekday() < 5]
    best_ms: list[float] = []
    greedy_ms: list[float] = []
    children = [checks_of(random) for _ in range(CHILDREN)]
    days_off = {"best": 0, "greedy": 0}
    trips = {"best": 0, "greedy": 0}
    for checks in children:
        for _ in range(REPEATS):
            start = perf_counter()
            best, _shut_out = plan_visits(checks, today=TODAY, open_days=open_days, booked=())
            middle = perf_counter()
            greedy = fewest_trips(checks, open_days)
            end = perf_counter()
            best_ms.append((middle - start) * 1000)
            greedy_ms.append((end - middle) * 1000)
        for name, visits in (("best", best), ("greedy", greedy)):
            days_off[name] += _days_off(visits)
            trips[name] += len(visits)
    ratio = median(b / g for b, g in zip(best_ms, greedy_ms, strict=True))
    print(f"checks per child     {median(map(len, children)):.0f} over {HORIZON_DAYS} days")
    print(f"best visits          {median(best_ms):.2f} ms median, {max(best_ms):.2f} ms at most")
    print(f"fewest trips alone   {median(greedy_ms):.2f} ms median")
    print(f"ratio                {ratio:.1f} median")
    print(f"trips                {trips['best']} best, {trips['greedy']} greedy")
    print(f"days off target      {days_off['best']} best, {days_off['greedy']} greedy")


if __name__ == "__main__":
    main()
