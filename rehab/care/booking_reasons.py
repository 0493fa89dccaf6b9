"""Why a visit found no place in any session, and what a person can do about it."""

from collections import Counter
from collections.abc import Iterable, Sequence

from rehab.care.booking import (
    Apart,
    NotPlaced,
    Obstacle,
    Opening,
    Placement,
    Request,
    in_order,
    in_window,
    in_words,
    obstacles,
    siblings_apart,
    suits,
)

NAMED = 3


def reasons_not_placed(
    requests: Sequence[Request], openings: Sequence[Opening], placements: Sequence[Placement]
) -> tuple[NotPlaced, ...]:
    """Each visit without a place, the first thing that stands in its way, and what to do."""
    requested, held = in_order(requests, openings)
    placed = {p.request.key for p in placements}
    there: dict[str, Counter[int]] = {opening.id: Counter() for opening in held}
    for placement in placements:
        there[placement.opening_id][placement.request.urgency] += placement.request.minutes
    return tuple(
        NotPlaced(request, *_why(request, in_window(request, held), there))
        for request in requested
        if request.key not in placed
    )


def _why(
    request: Request, held: Sequence[Opening], there: dict[str, Counter[int]]
) -> tuple[str, str]:
    window = f"from {request.earliest} to {request.latest}"
    if not held:
        return f"No session is held {window}.", "Add a session, or have the window reviewed."
    offered = [opening for opening in held if request.kinds <= opening.kinds]
    if not offered:
        return _not_offered(request, held, window)
    reachable = [o for o in offered if not obstacles(request.limits, o)]
    if not reachable:
        return _ruled_out(request, offered, window)
    large = [opening for opening in reachable if suits(request, opening)]
    if not large:
        most = max(opening.free_minutes for opening in reachable)
        return (
            f"It takes {request.minutes} minutes, and before any of these visits the most room in "
            f"a session that suits {window} was {most}: {request.minutes - most} are missing.",
            "Make room in one of these sessions, or add one.",
        )
    return _full(request, large, there)


def _not_offered(request: Request, held: Sequence[Opening], window: str) -> tuple[str, str]:
    nowhere = sorted(request.kinds - frozenset().union(*(o.kinds for o in held)))
    if nowhere:
        return (
            f"No session {window} offers {in_words(nowhere)}.",
            f"Offer {in_words(nowhere)} in one of these sessions, or refer the child.",
        )
    return (
        f"No one session {window} offers {in_words(sorted(request.kinds))} together.",
        "Offer them in one session, or split the visit.",
    )


def _ruled_out(request: Request, offered: Sequence[Opening], window: str) -> tuple[str, str]:
    """Only limits that stand alone in the way of some session are sure to help when they change."""
    per_session = [obstacles(request.limits, opening) for opening in offered]
    in_the_way = {obstacle for found in per_session for obstacle in found}
    named = " and ".join(obstacle for obstacle in Obstacle if obstacle in in_the_way)
    unknown = sorted(
        {
            opening.site
            for opening, found in zip(offered, per_session, strict=True)
            if Obstacle.DISTANCE_NOT_KNOWN in found
        }
    )
    do = (
        f"Record how far from home these sites are: {', '.join(unknown)}."
        if unknown
        else "Ask the family whether a limit can give way, or add a session that it can reach."
    )
    return f"What the family has stated rules out every session {window}, for {named}.", do


def _full(
    request: Request, large: Sequence[Opening], there: dict[str, Counter[int]]
) -> tuple[str, str]:
    """The truth of a placement that is not proven the best is told as it is."""
    most = max(o.free_minutes - there[o.id].total() for o in large)
    yielding = max(
        o.free_minutes - sum(m for urgency, m in there[o.id].items() if urgency <= request.urgency)
        for o in large
    )
    held_by = (
        "of visits that are at least as urgent"
        if yielding < request.minutes
        else "although some visits there are less urgent"
    )
    roomy = [o for o in large if o.free_minutes - there[o.id].total() >= request.minutes]
    if roomy:
        return (
            f"The search ended before it found a place, although {_names(roomy)} has room.",
            "Book it there, or search for longer.",
        )
    return (
        f"Every session that suits is full {held_by} ({_names(large)}): the most room left is "
        f"{most} of {request.minutes} minutes.",
        "Add a session, make room in one of these, or have the window reviewed.",
    )


def _names(openings: Iterable[Opening]) -> str:
    ids = [opening.id for opening in openings]
    more = f" and {len(ids) - NAMED} more" if len(ids) > NAMED else ""
    return ", ".join(ids[:NAMED]) + more


def reasons_apart(
    requests: Sequence[Request], openings: Sequence[Opening], placements: Sequence[Placement]
) -> tuple[Apart, ...]:
    """Each group of siblings that comes on several days, and why."""
    return tuple(
        Apart(
            group,
            "No day that suits all of them has room left for all."
            if day is None
            else f"All could come on {day}; the search ended before it was sure of that.",
        )
        for group, day in siblings_apart(requests, openings, placements)
    )
