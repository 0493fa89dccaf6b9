"""Plans of one child, built by hand or drawn at random, for tests of what changed."""

from datetime import date, timedelta

from hypothesis import strategies as st

from rehab.care.case import CheckKind, Child, Eye, Method
from rehab.care.checks import Check, Status
from rehab.care.occlusion import Span
from rehab.care.plan import Plan
from rehab.care.visits import Visit
from rehab.rules.protocol import Because

TODAY = date(2026, 1, 5)
ANCHOR = date(2025, 10, 1)
CHILD = Child("K-1047", "Ada Example", date(2025, 6, 1))
WHY = Because("pressure_check", ANCHOR, "row", "source", "", "", True, "", ())
DAY = timedelta(days=1)


def check(kind: CheckKind, ordinal: int, on: date, eye: Eye = Eye.RIGHT) -> Check:
    early, late = on - 7 * DAY, on + 7 * DAY
    return Check(kind, eye, ANCHOR, ordinal, early, on, late, late, Status.PLANNED, WHY)


def visit(on: date, *checks: Check, booked: bool = False) -> Visit:
    return Visit(on, on - 7 * DAY, on + 7 * DAY, checks, booked)


def span(start: date, until: date, minutes: int = 210, regimen: str = "r1") -> Span:
    return Span(start, until, Eye.LEFT, minutes, 7, Method.PATCH, True, WHY, regimen)


def plan(*visits: Visit, today: date = TODAY, occlusion: tuple[Span, ...] = ()) -> Plan:
    checks = tuple(c for v in visits for c in v.checks)
    return Plan(CHILD, today, date(2027, 7, 1), checks, visits, occlusion, ())


def pressure(ordinal: int, on: date) -> Check:
    return check(CheckKind.PRESSURE, ordinal, on)


def axis(ordinal: int, on: date) -> Check:
    return check(CheckKind.VISUAL_AXIS, ordinal, on)


@st.composite
def plans(draw: st.DrawFn, today: date) -> Plan:
    """A plan in which, as in every plan, each check belongs to one visit of a day still to come."""
    numbers = draw(st.permutations(range(8)))[: draw(st.integers(0, 8))]
    visits = []
    while numbers:
        size = draw(st.integers(1, len(numbers)))
        on = today + draw(st.integers(0, 60)) * DAY
        checks = tuple(pressure(n, on) for n in numbers[:size])
        booked = draw(st.booleans())
        visits.append(Visit(on, on - draw(st.integers(0, 9)) * DAY, on + 3 * DAY, checks, booked))
        numbers = numbers[size:]
    starts = draw(st.lists(st.integers(-30, 30), unique=True, max_size=4))
    spans = tuple(
        span(
            today + start * DAY,
            today + (start + draw(st.integers(1, 40))) * DAY,
            draw(st.sampled_from((60, 120))),
            draw(st.sampled_from(("r1", "r2"))),
        )
        for start in starts
    )
    return plan(*visits, today=today, occlusion=spans)


@st.composite
def histories(draw: st.DrawFn) -> tuple[Plan, ...]:
    """Plans of one child, made one after the other."""
    today, made = TODAY, []
    for _ in range(draw(st.integers(1, 4))):
        made.append(draw(plans(today)))
        today += draw(st.integers(0, 40)) * DAY
    return tuple(made)
