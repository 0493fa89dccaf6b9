"""What an event on a calendar server says, and how it differs from ours."""

from collections.abc import Iterator
from datetime import UTC, date, datetime
from hashlib import sha256
from typing import Any
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event

# Written anew by servers and programs although nobody changed anything.
NOT_SAID = {
    *("BEGIN", "END", "UID", "DTSTAMP", "CREATED", "LAST-MODIFIED", "SEQUENCE"),
    *("CLASS", "TRANSP", "PRIORITY", "PRODID", "VERSION", "CALSCALE"),
}
COMPARED = (
    ("begins", "DTSTART"),
    ("ends", "DTEND"),
    ("title", "SUMMARY"),
    ("status", "STATUS"),
    ("place", "LOCATION"),
    ("text", "DESCRIPTION"),
)


def digest_of(content: str | bytes) -> str:
    """The same for the same content, however a server or a program may have written it."""
    events = _events(content)
    if events is None:
        raw = content.encode() if isinstance(content, str) else content
        return sha256(raw).hexdigest()
    said = sorted(f"{name}={value}" for event in events for name, value in _said(event))
    return sha256("\n".join(said).encode()).hexdigest()


def differences(ours: bytes, theirs: str, time_zone: str) -> str:
    """What a person changed there, in a line; times by the clocks of `time_zone`."""
    here, there = _events(ours), _events(theirs)
    if not here or not there or len(there) != 1:
        return "it is no longer one event"
    said = [
        f"{word} {_shown(there[0], name, time_zone)}, here {_shown(here[0], name, time_zone)}"
        for word, name in COMPARED
        if _value(there[0].get(name)) != _value(here[0].get(name))
    ]
    return "; ".join(said) or "something was added to it"


def day_of(content: str, time_zone: str) -> date | None:
    """The day on which an event begins, by the clocks of `time_zone`; None when it says none."""
    events = _events(content)
    start = events[0].get("DTSTART") if events else None
    if start is None:
        return None
    when: date | datetime = start.dt
    if not isinstance(when, datetime):
        return when
    return when.astimezone(ZoneInfo(time_zone)).date() if when.tzinfo else when.date()


def is_cancelled(content: str) -> bool:
    return any(event.get("STATUS") == "CANCELLED" for event in _events(content) or ())


def cancelled(content: str) -> bytes:
    """The same event, cancelled."""
    calendar = Calendar.from_ical(content)
    for event in calendar.walk("VEVENT"):
        event["STATUS"] = "CANCELLED"
        event["SEQUENCE"] = int(event.get("SEQUENCE", 0)) + 1
    written: bytes = calendar.to_ical()
    return written


def _events(content: str | bytes) -> list[Event] | None:
    try:
        found = Calendar.from_ical(content)
        return [event for event in found.walk("VEVENT") if isinstance(event, Event)]
    except (ValueError, KeyError, IndexError):
        return None


def _said(component: Any) -> Iterator[tuple[str, str]]:
    for name, value in component.property_items():
        if name not in NOT_SAID and not name.startswith("X-"):
            yield name, _value(value)


def _value(value: Any) -> str:
    moment = getattr(value, "dt", None)
    if isinstance(moment, datetime) and moment.tzinfo is not None:
        return moment.astimezone(UTC).isoformat()
    if value is None:
        return ""
    return str(value.to_ical().decode())


def _shown(event: Event, name: str, time_zone: str) -> str:
    value = event.get(name)
    if value is None:
        return "nothing"
    when = getattr(value, "dt", None)
    if isinstance(when, datetime):
        if when.tzinfo is not None:
            when = when.astimezone(ZoneInfo(time_zone))
        return f"{when:%Y-%m-%d %H:%M}"
    if when is not None:
        return str(when)
    text = " ".join(str(value).split())
    return f'"{text[:60]}"'
