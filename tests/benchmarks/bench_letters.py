"""How long letters take beside the bare engine: `python -m tests.benchmarks.bench_letters`."""

import resource
import sys
from concurrent.futures import ProcessPoolExecutor
from itertools import islice
from multiprocessing import get_context
from statistics import median
from time import perf_counter

from rehab.care.plan import Plan, make_plan
from rehab.clinic_days import ClinicDays
from rehab.demo import demo_cases
from rehab.letters.facts import About, PhoneCalendar, facts_of
from rehab.letters.languages import language
from rehab.letters.letter import write_letter
from rehab.letters.pdf_page import Printing, content_of, pdf_of, set_on_paper
from rehab.measures.dates import add_months
from rehab.settings import Clinic, open_days
from rehab.table_files import read_protocol
from tests.benchmarks.bench_plan import children

LETTERS, MONTHS_AHEAD = 500, 18
CLINIC = Clinic("A clinic", phone="555 0100")


def planned() -> list[tuple[Plan, About]]:
    """Enough plans for the letters, of children who have one."""
    found = demo_cases()
    today, horizon = found.today, add_months(found.today, MONTHS_AHEAD)
    days = open_days(CLINIC, today, horizon)
    protocol = read_protocol(None)
    cases = children(LETTERS * 2, tuple(told.case for told in found.told))
    plans = (
        (make_plan(c, protocol, today=today, horizon=horizon, open_days=days), c) for c in cases
    )
    made = ((p, c) for p, c in plans if p.visits)
    return [
        (p, About(case=c, days=ClinicDays(days), calendar=PhoneCalendar(address(n), address(n))))
        for n, (p, c) in enumerate(islice(made, LETTERS))
    ]


def address(number: int) -> str:
    """As long as that of a family's calendar, and another for each."""
    return f"https://calendars.example.org/eyes/{number:040x}.ics"


def seconds_from_plans(code: str) -> tuple[float, float, int]:
    """From plan to PDF: in total, the median of one, and the peak of memory in MB."""
    took = []
    tongues = language(code), language("en")
    for plan, about in planned():
        start = perf_counter()
        letter = write_letter("family", facts_of(plan, CLINIC, about), *tongues)
        pdf_of([letter], Printing())
        took.append(perf_counter() - start)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    return sum(took), median(took), peak


def seconds_of_the_engine(code: str) -> float:
    """The engine alone, on the very same content."""
    tongues = language(code), language("en")
    ready = []
    for plan, about in planned():
        letter = write_letter("family", facts_of(plan, CLINIC, about), *tongues)
        ready.append((content_of([letter], Printing()), plan.today))
    start = perf_counter()
    for content, on in ready:
        set_on_paper(content, on, None)
    return perf_counter() - start


def main() -> None:
    for code in sys.argv[1:] or ["en"]:
        # Each in a process of its own: the engine remembers what it has set before.
        with ProcessPoolExecutor(1, get_context("spawn")) as one:
            bare = one.submit(seconds_of_the_engine, code).result()
        with ProcessPoolExecutor(1, get_context("spawn")) as one:
            whole, each, peak = one.submit(seconds_from_plans, code).result()
        print(
            f"{code}: {LETTERS} letters {whole:.1f} s, the engine alone {bare:.1f} s: "
            f"{whole / bare:.2f} x (limit 1.5); one {each * 1000:.0f} ms (limit 200); {peak} MB"
        )


if __name__ == "__main__":
    main()
