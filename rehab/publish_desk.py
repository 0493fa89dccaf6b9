"""The clinic's own calendar: what is in it, and kept on a calendar server without harm there.

An event is written over only what we last wrote ourselves. What was written is kept event by
event once the server has confirmed it, so that whatever ends the work, it goes on from there.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

from rehab.calendar_server import Address, Held, ServerCalendar, open_calendar
from rehab.care.changes import ONE_DAY
from rehab.care.diary import Diary, Session, Site
from rehab.clinic_calendars import (
    ClinicEvent,
    Telling,
    appointment_event,
    published_bytes,
    session_event,
)
from rehab.clinic_days import with_closed_days
from rehab.errors import RecordError
from rehab.held_events import cancelled, day_of, differences, digest_of, is_cancelled
from rehab.session_dates import sessions
from rehab.settings import Clinic
from rehab.store.published import Published
from rehab.workflow import Desk


class Fate(StrEnum):
    """What became of an event on the server."""

    NEW = "new"
    CHANGED = "changed"
    CANCELLED = "cancelled"
    KEPT = "kept"
    EDITED_THERE = "edited there"
    DELETED_THERE = "deleted there"


LEFT_ALONE = (Fate.EDITED_THERE, Fate.DELETED_THERE)


@dataclass(frozen=True, slots=True)
class Told:
    """An event and what became of it; `what` says what a person changed there."""

    title: str
    fate: Fate
    what: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """What is published together: `name` tells it from other parts in the same calendar.

    Events from `start` to before `until` belong to it; what else it once had there is history.
    """

    name: str
    events: tuple[ClinicEvent, ...]
    start: date
    until: date


def session_sites(diary: Diary, clinic: Clinic, start: date, until: date) -> Mapping[str, Site]:
    """Where each session from `start` to before `until` is, by its id, also one that was closed:
    who is booked into it comes to that place until somebody has moved the appointment."""
    sites = {site.code: site for site in diary.sites}
    home = home_site(clinic)
    always = replace(diary, closures=(), holidays=())
    return {s.id: sites.get(s.site, home) for s in sessions(always, start, until)}


def home_site(clinic: Clinic) -> Site:
    return Site("", clinic.name, clinic.address, clinic.time_zone)


@dataclass(frozen=True, slots=True)
class Choice:
    """Which sessions: of one site or one pattern, or of all ("")."""

    site: str = ""
    pattern: str = ""

    def holds(self, session: Session) -> bool:
        return self.site in ("", session.site) and self.pattern in ("", session.pattern)


def sessions_part(
    desk: Desk, choice: Choice, start: date, until: date, *, names: bool, today: date
) -> Part:
    """The sessions from `start` to before `until`, each with who is booked into it."""
    diary = with_closed_days(desk.store.diary(), desk.settings.clinic)
    _refuse_unknown(diary, choice)
    chosen = [s for s in sessions(diary, start, until) if choice.holds(s)]
    telling = _telling(desk, diary, start, until, names)
    booked = desk.store.appointments_from(start)
    revision = desk.store.diary_revision()
    events = tuple(session_event(s, booked, telling, revision, today) for s in chosen)
    return Part(f"sessions {choice.site} {choice.pattern}", events, start, until)


def appointments_part(
    desk: Desk, choice: Choice, start: date, until: date | None = None, *, names: bool
) -> Part:
    """The appointments from `start` on, each an event, those that are cancelled too."""
    diary = with_closed_days(desk.store.diary(), desk.settings.clinic)
    _refuse_unknown(diary, choice)
    booked = desk.store.appointments_from(start)
    end = until or max((b.appointment.on for b in booked), default=start) + ONE_DAY
    chosen = {s.id for s in sessions(diary, start, end) if choice.holds(s)}
    telling = _telling(desk, diary, start, end, names)
    events = tuple(
        appointment_event(b, telling)
        for b in booked
        if b.appointment.on < end and (choice == Choice() or b.appointment.session in chosen)
    )
    return Part(f"appointments {choice.site} {choice.pattern}", events, start, until or date.max)


def _telling(desk: Desk, diary: Diary, start: date, until: date, names: bool) -> Telling:
    clinic = desk.settings.clinic
    return Telling(home_site(clinic), session_sites(diary, clinic, start, until), names)


def _refuse_unknown(diary: Diary, choice: Choice) -> None:
    for word, asked, known in (
        ("site", choice.site, {site.code for site in diary.sites}),
        ("session pattern", choice.pattern, {pattern.code for pattern in diary.patterns}),
    ):
        if asked and asked not in known:
            raise RecordError(
                f"the diary has no {word} {asked}.",
                do=f"It has: {', '.join(sorted(known)) or 'none'}.",
            )


def publish(desk: Desk, part: Part, address: Address, *, overwrite: bool) -> Iterator[Told]:
    """Brings `part` of the calendar at `address` up to date, and tells of each event.

    What a person changed or deleted there is told and left alone, unless `overwrite` says that
    ours shall take its place.
    """
    with open_calendar(address) as calendar:
        writer = _Writer(desk, calendar, f"{part.name} {calendar.url}", overwrite)
        yield from writer.publish(part)


@dataclass(frozen=True, slots=True)
class _Writer:
    desk: Desk
    calendar: ServerCalendar
    key: str
    overwrite: bool

    def publish(self, part: Part) -> Iterator[Told]:
        known = self.desk.store.published(self.key)
        ours = {event.uid: event for event in part.events}
        held = self.calendar.held(map(_name, sorted(ours.keys() | known.keys())))
        for event in part.events:
            there = held.get(_name(event.uid))
            told = self._bring(event, known.get(event.uid), there)
            if told:
                yield told
        for uid in sorted(known.keys() - ours.keys()):
            told = self._take_back(uid, known[uid], held.get(_name(uid)), part)
            if told:
                yield told

    def _bring(
        self, event: ClinicEvent, known: Published | None, there: Held | None
    ) -> Told | None:
        content = published_bytes(event)
        digest = digest_of(content)
        found = digest_of(there.content) if there else ""
        if event.cancelled and there is None:
            # Never there, or taken out there already: nobody need be told that it will not be.
            if known:
                self._remember(event.uid, None)
            return None
        if found == digest:
            if known is None or known.digest != digest:
                self._remember(event.uid, digest)
            return Told(event.title, Fate.KEPT)
        ours_there = known is not None and found == known.digest
        unseen = known is None and there is None
        if not (ours_there or unseen or self.overwrite):
            return self._left_alone(event, content, there)
        if not self.calendar.put(_name(event.uid), content, there):
            return Told(event.title, Fate.EDITED_THERE, "it changed there just now")
        self._remember(event.uid, digest)
        if event.cancelled:
            return Told(event.title, Fate.CANCELLED)
        return Told(event.title, Fate.CHANGED if there else Fate.NEW)

    def _left_alone(self, event: ClinicEvent, content: bytes, there: Held | None) -> Told:
        if there is None:
            return Told(event.title, Fate.DELETED_THERE)
        zone = self.desk.settings.clinic.time_zone
        said = differences(content, there.content, zone)
        return Told(event.title, Fate.EDITED_THERE, said)

    def _take_back(self, uid: str, known: Published, there: Held | None, part: Part) -> Told | None:
        """What was published and is ours no longer: a session that is closed, a withdrawn child."""
        zone = self.desk.settings.clinic.time_zone
        day = day_of(there.content, zone) if there else None
        if there is None or (day and day < part.start):
            self._remember(uid, None)
            return None
        if is_cancelled(there.content) or (day and day >= part.until):
            return None
        title = f"an event on {day}" if day else "an event"
        if digest_of(there.content) != known.digest and not self.overwrite:
            return Told(title, Fate.EDITED_THERE, "here it is no longer planned")
        content = cancelled(there.content)
        if not self.calendar.put(_name(uid), content, there):
            return Told(title, Fate.EDITED_THERE, "it changed there just now")
        self._remember(uid, digest_of(content))
        return Told(title, Fate.CANCELLED)

    def _remember(self, uid: str, digest: str | None) -> None:
        published = Published(_name(uid), digest) if digest else None
        with self.desk.store.transaction() as tx:
            tx.set_published(self.key, uid, published)


def _name(uid: str) -> str:
    return f"{uid.partition('@')[0]}.ics"


def counted(told: Iterable[Told]) -> dict[Fate, int]:
    """How many events had each fate, in the order of `Fate`."""
    fates = [one.fate for one in told]
    return {fate: fates.count(fate) for fate in Fate if fate in fates}
