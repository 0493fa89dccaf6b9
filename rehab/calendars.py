"""Calendar files: a child's entries as one iCalendar file (RFC 5545), discreet and repeatable.

The file names neither the child nor the disease, since families show their calendars to others.
The same entries give the same bytes; an entry that was withdrawn stays in the file as cancelled,
so that a calendar that already holds it takes it out.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from types import MappingProxyType
from unicodedata import category

from icalendar import Alarm, Calendar, Event
from icalendar.enums import CLASS, STATUS, TRANSP

from rehab.care.case import CheckKind, Child, Eye, Method
from rehab.care.changes import ONE_DAY, Entry, EntryKind, EntryState, derived_uid
from rehab.care.diary import Site
from rehab.session_dates import moment
from rehab.settings import Clinic

PRODID = "-//Rehab//Family calendar//EN"
ALARM_DAYS_BEFORE = (3, 1)
ALARM_TIME = timedelta(hours=9)
DAYS_PER_WEEK = 7
NO_SITES: Mapping[str, Site] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Words:
    """Every text of a calendar file in one language; names in braces are filled in."""

    months: tuple[str, ...]
    eyes: Mapping[Eye, str]
    checks: Mapping[CheckKind, str]
    calendar: str
    visit: str
    visit_days: str
    suggestion: str
    appointment: str
    cannot_come: str
    purpose: str
    alarm: str
    methods: Mapping[str, str]
    some_days: str
    every_day: str
    ring: str
    ring_why: str


ENGLISH = Words(
    months=("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
    eyes={Eye.RIGHT: "right", Eye.LEFT: "left"},
    checks={
        CheckKind.REVIEW: "a check-up",
        CheckKind.PRESSURE: "eye pressure",
        CheckKind.VISUAL_AXIS: "how clear the pupil is",
        CheckKind.REFRACTION: "the strength of glasses or lens",
        CheckKind.CONTACT_LENS: "the contact lens",
        CheckKind.FUNDUS: "the back of the eye, with drops",
        CheckKind.SUTURES: "the stitches",
        CheckKind.ANAESTHESIA: "a look at the eyes while asleep (ask about eating and drinking)",
        CheckKind.SECOND_EYE: "a talk about the other eye",
        CheckKind.OCCLUSION: "the patching hours",
        CheckKind.WATCH: "how well each eye sees",
        CheckKind.GLASSES: "how well each eye sees",
    },
    calendar="Eye clinic",
    visit="Eye clinic: come in these days (best: {day})",
    visit_days="Come on one day from {first} to {last}; {day} is best.",
    suggestion="This is a suggestion until it is booked. To book, ring {clinic}.",
    appointment="Eye clinic: appointment",
    cannot_come="If you cannot come, ring {clinic}.",
    purpose="For: {checks}.",
    alarm="Eye clinic: {day}",
    methods={
        Method.PATCH: "Patch {hours} ({eye} eye covered)",
        Method.CLOTH_PATCH: "Cloth patch {hours} ({eye} eye covered)",
        Method.FILTER: "Filter on the glasses {hours} ({eye} eye)",
        Method.OPTICAL_BLUR: "Blurring lens {hours} ({eye} eye)",
    },
    some_days="On {days} days of each week. Questions: ring {clinic}.",
    every_day="Every day. Questions: ring {clinic}.",
    ring="Ring the eye clinic if your visit has passed: hours must be checked",
    ring_why="The hours agreed so far end on {last}. To hear how to go on, ring {clinic}.",
)


def calendar_file(
    child: Child,
    entries: Iterable[Entry],
    clinic: Clinic,
    words: Words = ENGLISH,
    sites: Mapping[str, Site] = NO_SITES,
) -> bytes:
    """The calendar of `entries`, ordered by date, then uid.

    `sites` says by the id of a session where it is; a session that it does not know is taken to
    be at the clinic's own address.
    """
    entries = tuple(entries)
    home = Site("", clinic.name, clinic.address, clinic.time_zone)
    events = [
        (entry.start, entry.uid, _occlusion(entry, clinic, words))
        if entry.kind is EntryKind.OCCLUSION
        else (entry.start, entry.uid, _trip(entry, sites.get(entry.session, home), clinic, words))
        for entry in entries
    ]
    call = _call(child, entries)
    if call is not None:
        events.append((call.start, call.uid, _ring(call, clinic, words)))
    calendar = Calendar.new(
        prodid=PRODID, name=words.calendar, uid=derived_uid(child.number, "calendar")
    )
    for _, _, event in sorted(events, key=lambda e: e[:2]):
        calendar.add_component(event)
    content: bytes = calendar.to_ical()
    return content


def empty_calendar(words: Words = ENGLISH) -> bytes:
    """For whoever still subscribes to a calendar that is no more."""
    content: bytes = Calendar.new(
        prodid=PRODID, name=words.calendar, uid=derived_uid("", "calendar")
    ).to_ical()
    return content


def _trip(entry: Entry, site: Site, clinic: Clinic, words: Words) -> Event:
    """The window of a visit, or the day or hour of an appointment, with its alarms."""
    day, last = _day(entry.on, words), entry.until - ONE_DAY
    if entry.kind is EntryKind.APPOINTMENT:
        title = words.appointment
        lines = [words.cannot_come.format(clinic=_ring_whom(clinic))]
    else:
        title = words.visit.format(day=day)
        first, last_day = _day(entry.start, words), _day(last, words)
        lines = [
            words.visit_days.format(first=first, last=last_day, day=day),
            words.suggestion.format(clinic=_ring_whom(clinic)),
        ]
    kinds = {key.split("/")[0] for key in entry.checks}
    checks = [text for kind, text in words.checks.items() if kind in kinds]
    if checks:
        lines.append(words.purpose.format(checks="; ".join(checks)))
    event = _event(entry, title, "\n".join(lines))
    if entry.starts_minute is None:
        event.add("dtend", entry.until)
    else:
        starts = moment(entry.on, entry.starts_minute, site.time_zone)
        event.DTSTART = starts
        event.add("dtend", starts + timedelta(minutes=max(entry.minutes, 1)))
    event.add("location", plain_text(", ".join(filter(None, (site.name, site.address)))))
    if entry.state is EntryState.LIVE:
        for days in ALARM_DAYS_BEFORE:
            trigger = _trigger(entry, timedelta(days=days), site.time_zone)
            event.add_component(_alarm(trigger, words.alarm.format(day=day)))
    return event


def _trigger(entry: Entry, before: timedelta, time_zone: str) -> timedelta:
    """How long before the event begins an alarm sounds.

    RFC 5545, 3.8.6.3: that of a day is counted from its 00:00 in the reader's time zone.
    """
    if entry.starts_minute is None:
        return entry.on - entry.start - before + ALARM_TIME
    nine = moment(entry.on - before, ALARM_TIME // timedelta(minutes=1), time_zone)
    return nine - moment(entry.on, entry.starts_minute, time_zone)


def _alarm(trigger: timedelta, text: str) -> Alarm:
    alarm = Alarm.new(description=text)
    alarm.add("action", "DISPLAY")
    alarm.add("trigger", trigger)
    return alarm


def _occlusion(entry: Entry, clinic: Clinic, words: Words) -> Event:
    hours = _hours(entry.minutes_per_day)
    said = words.methods[entry.method or Method.PATCH]
    title = said.format(hours=hours, eye=words.eyes[Eye(entry.eye)])
    text = words.every_day if entry.days_per_week == DAYS_PER_WEEK else words.some_days
    clinic_words = _ring_whom(clinic)
    event = _event(entry, title, text.format(days=entry.days_per_week, clinic=clinic_words))
    event.add("dtend", entry.start + ONE_DAY)
    event.add("rrule", {"freq": "daily", "until": entry.until - ONE_DAY})
    return event


def _call(child: Child, entries: tuple[Entry, ...]) -> Entry | None:
    """The day after the agreed hours run out, on which a family without a new review must ring.

    It is cancelled when no hours are agreed any more, and when they were stopped on purpose: then
    acuity is watched instead. It must outrank every earlier one of its
    uid, so its sequence grows with each change that any entry can undergo.
    """
    hours = [e for e in entries if e.kind is EntryKind.OCCLUSION]
    if not hours:
        return None
    agreed = [e.until for e in hours if e.state is EntryState.LIVE]
    end = max(agreed or (e.until for e in hours))
    stopped = any(_is_watch(e) for e in entries)
    return Entry(
        uid=derived_uid(child.number, "ring"),
        sequence=sum(2 * e.sequence + 1 + (e.state is not EntryState.LIVE) for e in entries),
        changed_on=max(e.changed_on for e in entries),
        kind=EntryKind.OCCLUSION,
        state=EntryState.LIVE if agreed and not stopped else EntryState.WITHDRAWN,
        start=end,
        until=end + ONE_DAY,
        on=end,
    )


def _is_watch(entry: Entry) -> bool:
    prefix = f"{CheckKind.WATCH}/"
    return entry.state is EntryState.LIVE and any(k.startswith(prefix) for k in entry.checks)


def _ring(call: Entry, clinic: Clinic, words: Words) -> Event:
    why = words.ring_why.format(last=_day(call.on - ONE_DAY, words), clinic=_ring_whom(clinic))
    event = _event(call, words.ring, why)
    event.add("dtend", call.until)
    return event


def _event(entry: Entry, title: str, description: str) -> Event:
    return Event.new(
        uid=entry.uid,
        sequence=entry.sequence,
        stamp=datetime.combine(entry.changed_on, time(), UTC),
        start=entry.start,
        summary=title,
        description=plain_text(description),
        status=_status(entry),
        transparency=TRANSP.TRANSPARENT,
        classification=CLASS.PRIVATE,
    )


def _status(entry: Entry) -> STATUS:
    if entry.state is EntryState.WITHDRAWN:
        return STATUS.CANCELLED
    return STATUS.TENTATIVE if entry.kind is EntryKind.VISIT else STATUS.CONFIRMED


def plain_text(text: str) -> str:
    """RFC 5545, 3.1: no control characters in a text; every kind of line end becomes one kind."""
    lines = "\n".join(text.splitlines())
    return "".join(c for c in lines if c == "\n" or category(c) != "Cc")


def _ring_whom(clinic: Clinic) -> str:
    return ", ".join(filter(None, (clinic.name, clinic.phone)))


def _day(day: date, words: Words) -> str:
    return f"{day.day} {words.months[day.month - 1]} {day.year}"


def _hours(minutes: int) -> str:
    hours, rest = divmod(minutes, 60)
    parts = (f"{hours} h" if hours else "", f"{rest} min" if rest or not hours else "")
    return " ".join(filter(None, parts))


def one_visit(number: str, on: date, starts_minute: int | None, minutes: int, zone: str) -> str:
    """One booked visit as a short calendar (RFC 5545) that a phone's camera can take in.

    The uid is that of no other file: the visit in it does not follow when it is moved.
    """
    starts = None if starts_minute is None else moment(on, starts_minute, zone)
    event = Event.new(
        uid=derived_uid("camera", number, on.isoformat()),
        summary=ENGLISH.appointment,
        start=starts or on,
        end=starts and starts + timedelta(minutes=minutes),
        stamp=datetime.combine(on, time(), UTC),
    )
    calendar = Calendar.new(prodid=PRODID, uid=None)
    calendar.pop("uid", None)
    calendar.add_component(event)
    return str(calendar.to_ical().decode())
