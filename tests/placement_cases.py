"""Invented clinics whose visits want places, small and large, and the score of a placement."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, timedelta
from random import Random

from rehab.care.booking import URGENCIES, Opening, Placement, Request, sibling_groups
from rehab.care.case import CheckKind
from rehab.care.contacts import Limits

FIRST_DAY = date(2026, 3, 2)  # a Monday
SITES = ("North", "South", "West")
HOURS = (8 * 60, 13 * 60)
USUAL = frozenset({CheckKind.REVIEW, CheckKind.REFRACTION, CheckKind.GLASSES, CheckKind.OCCLUSION})
FURTHER = (CheckKind.PRESSURE, CheckKind.CONTACT_LENS, CheckKind.FUNDUS)
KINDS = (*sorted(USUAL), *FURTHER)


def openings(random: Random, number: int, days: int, free_minutes: int) -> tuple[Opening, ...]:
    """Sessions on working days, each with about `free_minutes`; none may be full already."""
    working = [d for d in (FIRST_DAY + timedelta(n) for n in range(days)) if d.weekday() < 5]
    return tuple(
        Opening(
            f"s{n}",
            random.choice(SITES),
            random.choice(working),
            random.choice(HOURS),
            random.randint(free_minutes // 2, free_minutes * 3 // 2),
            USUAL | set(random.sample(FURTHER, random.randint(0, 3))),
        )
        for n in range(number)
    )


def requests(
    random: Random, number: int, days: int, minutes: Sequence[int], *, siblings: float = 0.15
) -> tuple[Request, ...]:
    """Visits of children, some with siblings whose visits fall due at about the same time."""
    made: list[Request] = []
    while len(made) < number:
        target = random.randrange(days)
        family = f"f{len(made)}" if random.random() < siblings else ""
        limits = _limits(random)
        for _ in range(random.choice((2, 2, 2, 3)) if family else 1):
            made.append(_request(random, len(made), days, target, minutes, family, limits))
    return tuple(made[:number])


def _request(
    random: Random,
    number: int,
    days: int,
    near: int,
    minutes: Sequence[int],
    family: str,
    limits: Limits,
) -> Request:
    target = min(max(near + random.randint(-5, 5), 0), days - 1) if family else near
    tolerance = timedelta(random.choice((3, 7, 7, 14, 28)))
    on = FIRST_DAY + timedelta(target)
    return Request(
        f"c{number}",
        "v",
        on - tolerance / 2,
        on,
        on + tolerance,
        random.choice(minutes),
        frozenset(random.sample(KINDS, random.choice((1, 1, 2)))),
        random.choices(URGENCIES, (5, 15, 30, 50))[0],
        family,
        limits,
    )


def _limits(random: Random) -> Limits:
    weekdays = tuple(sorted(random.sample(range(5), 3))) if random.random() < 0.2 else ()
    hour = HOURS[1] if random.random() < 0.1 else None
    if random.random() < 0.8:
        return Limits("", weekdays, hour)
    distances = tuple((site, random.choice((5, 30, 90))) for site in SITES)
    return Limits("", weekdays, hour, 40, distances)


def score(
    requested: Sequence[Request], held: Sequence[Opening], placements: Sequence[Placement]
) -> tuple[int, ...]:
    """Not placed by urgency, journeys saved (less is better: negative), days off target."""
    days = {o.id: o.on for o in held}
    day = {p.request.key: days[p.opening_id] for p in placements}
    saved = 0
    for group in sibling_groups(requested, sorted(held, key=lambda o: o.on)):
        come: dict[date, int] = defaultdict(int)
        for request in group:
            if request.key in day:
                come[day[request.key]] += 1
        saved += sum(children - 1 for children in come.values())
    return (
        *(
            sum(r.urgency == urgency and r.key not in day for r in requested)
            for urgency in URGENCIES
        ),
        -saved,
        sum(abs((day[r.key] - r.target).days) for r in requested if r.key in day),
    )
