"""What changed since the last plan: each calendar entry kept, moved, added or withdrawn."""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from hashlib import sha256
from itertools import count

from rehab.care.occlusion import Span
from rehab.care.plan import Plan, agreed_occlusion
from rehab.care.visits import Visit

ONE_DAY = timedelta(days=1)


class EntryKind(StrEnum):
    VISIT = "visit"
    APPOINTMENT = "appointment"
    OCCLUSION = "occlusion"


class EntryState(StrEnum):
    LIVE = "live"
    SETTLED = "settled"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True)
class Entry:
    """One event in a family's calendar, with the identity it keeps for its whole life.

    Days from `start` to before `until`; `on` is the proposed or booked day of a visit, the first
    day of occlusion. `checks` are the keys of the checks it settles (empty for occlusion). An
    appointment in a session of the clinic begins `starts_minute` local minutes after midnight.
    `changed_on` is the day its content last changed, `sequence` how often it has.
    """

    uid: str
    sequence: int
    changed_on: date
    kind: EntryKind
    state: EntryState
    start: date
    until: date
    on: date
    checks: tuple[str, ...] = ()
    eye: str = ""
    minutes_per_day: int = 0
    days_per_week: int = 0
    method: str = ""
    session: str = ""
    starts_minute: int | None = None
    minutes: int = 0


class ChangeKind(StrEnum):
    """`moved` is any change of content: the days, the booking, the checks or the dose."""

    KEPT = "kept"
    MOVED = "moved"
    ADDED = "added"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True)
class Change:
    """What became of one entry, and a sentence that says so with its dates."""

    kind: ChangeKind
    entry: Entry
    sentence: str


def derived_uid(*parts: str) -> str:
    """An identifier that follows from `parts` alone and in which none of them can be read."""
    digest = sha256("\n".join(parts).encode()).hexdigest()
    return f"{digest[:32]}@rehab"


def follow(entries: tuple[Entry, ...], plan: Plan) -> tuple[Entry, ...]:
    """`entries` brought into line with `plan`; none is ever dropped, each keeps its uid."""
    trips = tuple(e for e in entries if e.kind is not EntryKind.OCCLUSION)
    hours = tuple(e for e in entries if e.kind is EntryKind.OCCLUSION)
    followed = _follow_visits(trips, plan) + _follow_occlusion(hours, plan)
    return tuple(sorted(followed, key=lambda e: (e.on, e.uid)))


def _follow_visits(entries: tuple[Entry, ...], plan: Plan) -> tuple[Entry, ...]:
    visits = sorted(plan.visits, key=lambda v: (v.on, v.booked, _keys(v)))
    pairs = _pair(entries, visits, plan.today)
    matched = {entry.uid for entry in pairs.values()}
    followed = [_leave(e, plan) for e in entries if e.uid not in matched]
    taken = {entry.uid for entry in entries}
    for index, visit in enumerate(visits):
        if index in pairs:
            followed.append(_update(pairs[index], _of_visit(visit, "", plan), plan.today))
        else:
            uid = _new_uid(plan.child.number, visit, taken)
            taken.add(uid)
            followed.append(_of_visit(visit, uid, plan))
    return tuple(followed)


def _pair(entries: tuple[Entry, ...], visits: list[Visit], today: date) -> dict[int, Entry]:
    """For each visit that continues a live entry, by its index: that entry.

    Most checks in common first, then the nearest day. An entry of the same day is the same trip
    even when all its checks were exchanged. A booked day that has passed is history: it stays.
    """
    live = {
        e.uid: e
        for e in entries
        if e.state is EntryState.LIVE and not (e.kind is EntryKind.APPOINTMENT and e.on < today)
    }
    ranked = sorted(
        (-shared, abs(entry.on - visit.on), entry.uid, index)
        for entry in live.values()
        for index, visit in enumerate(visits)
        if (shared := len(set(entry.checks) & set(_keys(visit)))) or entry.on == visit.on
    )
    pairs: dict[int, Entry] = {}
    for _, _, uid, index in ranked:
        if uid in live and index not in pairs:
            pairs[index] = live.pop(uid)
    return pairs


def _leave(entry: Entry, plan: Plan) -> Entry:
    """What becomes of an entry that no visit continues.

    On its own day it has just been settled, unless the whole plan has come to an end.
    """
    if entry.state is not EntryState.LIVE:
        return entry
    if entry.on < plan.today or (entry.on == plan.today and plan.checks):
        return replace(entry, state=EntryState.SETTLED)
    return _withdraw(entry, plan.today)


def _of_visit(visit: Visit, uid: str, plan: Plan) -> Entry:
    start, until = (visit.on, visit.on) if visit.booked else (visit.earliest, visit.latest)
    held = visit.appointment
    return Entry(
        uid=uid,
        sequence=0,
        changed_on=plan.today,
        kind=EntryKind.APPOINTMENT if visit.booked else EntryKind.VISIT,
        state=EntryState.LIVE,
        start=start,
        until=until + ONE_DAY,
        on=visit.on,
        checks=_keys(visit),
        session=held.session if held else "",
        starts_minute=held.starts_minute if held else None,
        minutes=held.minutes if held else 0,
    )


def _new_uid(number: str, visit: Visit, taken: set[str]) -> str:
    first = next(iter(_keys(visit)), "")
    uids = (derived_uid(number, first, visit.on.isoformat(), str(n)) for n in count())
    return next(uid for uid in uids if uid not in taken)


def _keys(visit: Visit) -> tuple[str, ...]:
    return tuple(sorted(check.key for check in visit.checks))


def _follow_occlusion(entries: tuple[Entry, ...], plan: Plan) -> tuple[Entry, ...]:
    """The uid is the identity (regimen, eye and first day), so that a span that comes back is
    the same entry again."""
    known = {entry.uid: entry for entry in entries}
    agreed = {e.uid: e for e in (_of_span(span, plan) for span in agreed_occlusion(plan))}
    left = [_cut(e, plan.today) for e in entries if e.uid not in agreed]
    return tuple(left) + tuple(
        _update(known[uid], fresh, plan.today) if uid in known else fresh
        for uid, fresh in agreed.items()
    )


def _of_span(span: Span, plan: Plan) -> Entry:
    identity = (plan.child.number, "occlusion", span.regimen, span.eye, span.start.isoformat())
    return Entry(
        uid=derived_uid(*identity),
        sequence=0,
        changed_on=plan.today,
        kind=EntryKind.OCCLUSION,
        state=EntryState.LIVE,
        start=span.start,
        until=span.until,
        on=span.start,
        eye=span.eye,
        minutes_per_day=span.minutes_per_day,
        days_per_week=span.days_per_week,
        method=span.method,
    )


def _cut(entry: Entry, today: date) -> Entry:
    """A span that is no longer agreed: the days already gone stay, the others are taken back."""
    if entry.state is not EntryState.LIVE:
        return entry
    if entry.start >= today:
        return _withdraw(entry, today)
    settled = replace(entry, state=EntryState.SETTLED)
    if entry.until <= today:
        return settled
    return replace(settled, until=today, sequence=entry.sequence + 1, changed_on=today)


def _update(entry: Entry, fresh: Entry, today: date) -> Entry:
    """`entry` with the content of `fresh`; the same entry when nothing in it changed."""
    same = replace(fresh, uid=entry.uid, sequence=entry.sequence, changed_on=entry.changed_on)
    if same == entry:
        return entry
    return replace(same, sequence=entry.sequence + 1, changed_on=today)


def _withdraw(entry: Entry, today: date) -> Entry:
    return replace(entry, state=EntryState.WITHDRAWN, sequence=entry.sequence + 1, changed_on=today)


def describe_changes(before: tuple[Entry, ...], after: tuple[Entry, ...]) -> tuple[Change, ...]:
    """What a family and a clinician must be told, in the order of `after`; what is over is not."""
    known = {entry.uid: entry for entry in before}
    changes = (_change(known.get(entry.uid), entry) for entry in after)
    return tuple(change for change in changes if change is not None)


def _change(old: Entry | None, new: Entry) -> Change | None:
    was_there = old is not None and old.state is not EntryState.WITHDRAWN
    if new.state is EntryState.WITHDRAWN:
        sentence = f"Withdrawn: {_in_words(new)}."
        return Change(ChangeKind.WITHDRAWN, new, sentence) if was_there else None
    if old is None or not was_there:
        return Change(ChangeKind.ADDED, new, f"Added: {_in_words(new)}.")
    if new.sequence != old.sequence:
        sentence = f"Moved: {_in_words(old)}; now {_in_words(new)}."
        return Change(ChangeKind.MOVED, new, sentence)
    if new.state is EntryState.LIVE:
        return Change(ChangeKind.KEPT, new, f"Kept: {_in_words(new)}.")
    return None


def _in_words(entry: Entry) -> str:
    last = entry.until - ONE_DAY
    if entry.kind is EntryKind.OCCLUSION:
        method = f" by {entry.method}" if entry.method else ""
        return (
            f"occlusion of the {entry.eye} eye{method}, {entry.minutes_per_day / 60:.4g} h a day, "
            f"{entry.days_per_week} days a week, from {entry.start} to {last}"
        )
    days = "" if entry.start == last else f" (any day from {entry.start} to {last})"
    checks = ", ".join(dict.fromkeys(map(check_in_words, entry.checks))) or "no check that is due"
    return f"{entry.kind} on {entry.on}{_at(entry)}{days} for {checks}"


def _at(entry: Entry) -> str:
    if entry.starts_minute is None:
        return ""
    hour, minute = divmod(entry.starts_minute, 60)
    return f" at {hour:02}:{minute:02}"


def check_in_words(key: str) -> str:
    kind, eye = key.split("/")[:2]
    return f"{kind.replace('_', ' ')} ({eye} eye)"
