"""What a clinic session offers, and how much of its room is taken."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Set

from rehab.care.booking import Opening
from rehab.care.case import Appointment, CheckKind
from rehab.care.diary import Session

LAST_ARRIVAL_MINUTES = 60
Booked = Mapping[str, list[Appointment]]


def by_session(booked: Iterable[tuple[str, Appointment]]) -> Booked:
    """By session id the appointments it holds, out of all with their child's number."""
    found: dict[str, list[Appointment]] = defaultdict(list)
    for _, appointment in booked:
        found[appointment.session].append(appointment)
    return found


def offers(session: Session, kinds: Set[CheckKind]) -> bool:
    """An examination under anaesthesia has its own lists, and nobody else comes to them."""
    anaesthesia = CheckKind.ANAESTHESIA in kinds
    return session.under_anaesthesia is anaesthesia and kinds <= set(session.kinds)


def settled_there(session: Session, due: Set[CheckKind]) -> frozenset[CheckKind] | None:
    """Which of the checks that are due a visit there would settle; None where it is no place for
    them. What needs sleep waits for a list, and does not keep a child from the clinic."""
    if session.under_anaesthesia:
        asleep = frozenset(due & set(session.kinds))
        return asleep if CheckKind.ANAESTHESIA in asleep else None
    return None if missing_awake(session, due) else frozenset(due) - {CheckKind.ANAESTHESIA}


def missing_awake(session: Session, due: Set[CheckKind]) -> frozenset[CheckKind]:
    """Which of the checks that need no sleep a session at the clinic does not offer."""
    return frozenset(due) - {CheckKind.ANAESTHESIA} - set(session.kinds)


def minutes_left(session: Session, booked: Booked) -> int:
    """Below zero where a person has overbooked it."""
    return session.capacity_minutes - sum(a.minutes for a in booked.get(session.id, ()))


def opening_of(session: Session, booked: Booked) -> Opening:
    """The session as visits see it that want a place there.

    A family need not be there when it starts, but must be able to come an hour before it ends:
    common practice, no source.
    """
    return Opening(
        session.id,
        session.site,
        session.on,
        max(session.starts_minute, session.ends_minute - LAST_ARRIVAL_MINUTES),
        max(minutes_left(session, booked), 0),
        frozenset(session.kinds),
    )
