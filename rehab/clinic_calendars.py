"""The clinic's own calendar: its sessions and appointments, for people who work there.

Appointments are told by the child's number and what is to be checked; the name only when asked.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from icalendar import Calendar, Event
from icalendar.enums import CLASS, STATUS

from rehab.calendars import plain_text
from rehab.care.case import Outcome
from rehab.care.changes import ONE_DAY, check_in_words, derived_uid
from rehab.care.diary import AT_CLINIC, Session, Site
from rehab.measures.clock import clock
from rehab.session_dates import moment
from rehab.store.published import Booked

PRODID = "-//Rehab//Clinic calendar//EN"


@dataclass(frozen=True, slots=True)
class ClinicEvent:
    """One event of the clinic's calendar. `title` names it to the people of the clinic."""

    uid: str
    on: date
    title: str
    cancelled: bool
    event: Event


@dataclass(frozen=True, slots=True)
class Telling:
    """How the clinic's calendar is told: where sessions are by their id, and with names or not."""

    home: Site
    sites: Mapping[str, Site]
    names: bool = False

    def site(self, session: str) -> Site:
        return self.sites.get(session, self.home)


def clinic_calendar(events: Iterable[ClinicEvent], name: str) -> bytes:
    """One file of `events` in order of day, then uid."""
    calendar = Calendar.new(prodid=PRODID, name=plain_text(name), uid=derived_uid(name, "clinic"))
    for event in sorted(events, key=lambda e: (e.on, e.uid)):
        calendar.add_component(event.event)
    content: bytes = calendar.to_ical()
    return content


def published_bytes(event: ClinicEvent) -> bytes:
    """RFC 4791, 4.1: one event by itself, as a resource of a calendar server."""
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add_component(event.event)
    content: bytes = calendar.to_ical()
    return content


def appointment_event(booked: Booked, telling: Telling) -> ClinicEvent:
    """An appointment at its hour; all day long when it has none."""
    appointment = booked.appointment
    site = telling.site(appointment.session)
    kinds = dict.fromkeys(check_in_words(key).partition(" (")[0] for key in booked.checks)
    title = ": ".join(filter(None, (_whose(booked, telling), ", ".join(kinds))))
    lines = [
        *(check_in_words(key) for key in booked.checks),
        f"{appointment.minutes} minutes" if appointment.minutes else "",
        "overbooked" if appointment.overbooked else "",
        "" if appointment.outcome is Outcome.BOOKED else str(appointment.outcome),
    ]
    uid = derived_uid("appointment", appointment.id)
    starts: date | datetime = appointment.on
    ends: date | datetime = appointment.on + ONE_DAY
    if appointment.starts_minute is not None:
        starts = moment(appointment.on, appointment.starts_minute, site.time_zone)
        ends = starts + timedelta(minutes=max(appointment.minutes, 1))
    event = Event.new(
        uid=uid,
        sequence=booked.changes,
        stamp=booked.changed_at.astimezone(UTC).replace(microsecond=0),
        start=starts,
        end=ends,
        summary=plain_text(title),
        description=plain_text("\n".join(filter(None, lines))) or None,
        location=plain_text(", ".join(filter(None, (site.name, site.address)))),
        status=STATUS.CANCELLED if booked.cancelled else STATUS.CONFIRMED,
        classification=CLASS.PRIVATE,
    )
    return ClinicEvent(uid, appointment.on, _in_words(booked), booked.cancelled, event)


def session_event(
    session: Session, booked: Sequence[Booked], telling: Telling, revision: int, today: date
) -> ClinicEvent:
    """A session and, by time, who is booked into it. `revision` counts what the diary underwent."""
    site = telling.site(session.id)
    here = [b for b in booked if b.appointment.session == session.id and not b.cancelled]
    taken = sum(b.appointment.minutes for b in here)
    head = f"{len(here)} booked, {taken} of {session.capacity_minutes} minutes"
    uid = derived_uid("session", session.id)
    title = f"{site.name}: {_kinds(session)}" + (f" ({session.who})" if session.who else "")
    event = Event.new(
        uid=uid,
        sequence=revision,
        stamp=datetime.combine(today, time(), UTC),
        start=moment(session.on, session.starts_minute, session.time_zone),
        end=moment(session.on, session.ends_minute, session.time_zone),
        summary=plain_text(title),
        description=plain_text("\n".join((head, *(_line(b, telling) for b in here)))),
        location=plain_text(", ".join(filter(None, (site.name, site.address)))),
        status=STATUS.CONFIRMED,
        classification=CLASS.PRIVATE,
    )
    said = f"session {session.pattern} on {session.on} at {clock(session.starts_minute)}"
    return ClinicEvent(uid, session.on, said, False, event)


def _kinds(session: Session) -> str:
    if session.under_anaesthesia:
        return "under anaesthesia"
    if set(AT_CLINIC) <= set(session.kinds):
        return "all checks"
    return ", ".join(kind.replace("_", " ") for kind in session.kinds)


def _line(booked: Booked, telling: Telling) -> str:
    appointment = booked.appointment
    checks = ", ".join(map(check_in_words, booked.checks)) or "no check that is due"
    said = "" if appointment.outcome is Outcome.BOOKED else f" ({appointment.outcome})"
    at = "" if appointment.starts_minute is None else f"{clock(appointment.starts_minute)} "
    return f"{at}{_whose(booked, telling)}: {checks}{said}"


def _whose(booked: Booked, telling: Telling) -> str:
    name = f" {booked.child.name}" if telling.names else ""
    return f"{booked.child.number}{name}"


def _in_words(booked: Booked) -> str:
    appointment = booked.appointment
    minute = appointment.starts_minute
    at = "" if minute is None else f" at {clock(minute)}"
    return f"{booked.child.number} on {appointment.on}{at}"
