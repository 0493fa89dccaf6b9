"""The clinic's diary in words: sites, sessions with their room, closures, who is affected."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta

from rehab.care.case import Appointment
from rehab.care.diary import (
    ASLEEP,
    AT_CLINIC,
    Closure,
    Diary,
    Holiday,
    Session,
    SessionPattern,
    Site,
)
from rehab.diary_desk import Affected, SessionLine
from rehab.measures.clock import clock
from rehab.measures.dates import WEEKDAYS
from rehab.session_dates import CODES, clinic_span

WEEKLY = "FREQ=WEEKLY;BYDAY="
HEADS = ("DAY", "TIME", "SESSION", "SITE", "STAFF", "CHILDREN", "ROOM LEFT", "")


def day_text(on: date) -> str:
    return f"{on:%a} {on.day} {on:%b %Y}"


def site_text(site: Site) -> str:
    place = "-".join(filter(None, (site.country, site.region))) or "no country, so no holidays"
    return ", ".join(filter(None, (site.name, site.address, site.time_zone, place)))


def pattern_text(pattern: SessionPattern) -> str:
    """When, where and with what room the sessions are, in one line."""
    parts = (
        f"{_days(pattern)}, {clock(pattern.starts_minute)} to {clock(pattern.ends_minute)} "
        f"at {pattern.site}",
        f"{pattern.capacity_minutes} minutes",
        pattern.who,
        "list under anaesthesia" if pattern.under_anaesthesia else "",
        _only(pattern),
    )
    return ", ".join(filter(None, parts))


def _only(offering: SessionPattern | Session) -> str:
    """The kinds of check, where not all are offered that are usual."""
    usual = set(ASLEEP if offering.under_anaesthesia else AT_CLINIC)
    if usual <= set(offering.kinds):
        return ""
    return f"only {', '.join(kind.replace('_', ' ') for kind in offering.kinds)}"


def _days(pattern: SessionPattern) -> str:
    if not pattern.rule:
        return f"once on {day_text(pattern.first)}"
    named = pattern.rule.removeprefix(WEEKLY).split(",")
    if pattern.rule.startswith(WEEKLY) and set(named) <= set(CODES):
        said = "every " + " and ".join(WEEKDAYS[CODES.index(code)] for code in named)
    else:
        said = f"by {pattern.rule}"
    until = f" to {day_text(pattern.last)}" if pattern.last else ""
    return f"{said} from {day_text(pattern.first)}{until}"


def closure_text(closure: Closure) -> str:
    last = closure.until - timedelta(days=1)
    days = day_text(closure.start)
    if last != closure.start:
        days += f" to {day_text(last)}"
    what = closure.pattern or closure.site or "the whole clinic"
    return f"{what} closed {days} ({closure.why})"


def holiday_text(holiday: Holiday) -> str:
    place = "-".join(filter(None, (holiday.country, holiday.region)))
    estimated = ", day estimated" if holiday.estimated else ""
    return f"{day_text(holiday.on)}, {holiday.name} ({place}{estimated})"


def record_text(record: Site | SessionPattern | Closure | Holiday) -> str:
    if isinstance(record, Site):
        return site_text(record)
    if isinstance(record, SessionPattern):
        return pattern_text(record)
    return closure_text(record) if isinstance(record, Closure) else holiday_text(record)


def affected_lines(affected: Sequence[Affected]) -> Iterator[str]:
    if not affected:
        return
    one_child = len(affected) == 1
    yield (
        f"{len(affected)} booked {'child' if one_child else 'children'} cannot be seen as booked "
        f"and {'comes' if one_child else 'come'} on the recall list:"
    )
    for one in affected:
        yield f"  {one.number}  {one.name}  {booked_text(one.appointment)}  {one.why}"


def held_again_lines(held_again: Sequence[Affected]) -> Iterator[str]:
    if held_again:
        yield "These can be seen as booked again, and come on the recall list until they are told:"
    for one in held_again:
        yield f"  {one.number}  {one.name}  {booked_text(one.appointment)}"


def booked_text(appointment: Appointment) -> str:
    at = appointment.starts_minute
    return day_text(appointment.on) + ("" if at is None else f" {clock(at)}")


def session_rows(lines: Iterable[SessionLine]) -> Iterator[tuple[str, ...]]:
    """One row for each session under `HEADS`; the day stands only in the first row of a day."""
    before = None
    for line in lines:
        session = line.session
        left = session.capacity_minutes - line.minutes
        room = f"{left} of {session.capacity_minutes} min"
        if line.why_shut:
            state = f"NOT HELD: {line.why_shut}"
        else:
            state = "OVERBOOKED" if left < 0 else "full" if left == 0 else ""
        asleep = "list under anaesthesia" if session.under_anaesthesia else ""
        remark = "; ".join(filter(None, (state, asleep, _only(session))))
        yield (
            "" if session.on == before else day_text(session.on),
            f"{clock(session.starts_minute)}-{clock(session.ends_minute)}",
            session.pattern,
            session.site,
            session.who,
            str(line.children or "-"),
            "-" if line.why_shut and not line.children else room,
            remark,
        )
        before = session.on


def end_of_sessions(diary: Diary, by: date) -> str:
    """A sentence where the sessions end before `by`, else ""; lists under anaesthesia aside."""
    span = clinic_span(diary)
    if span is None or span[1] >= by:
        return ""
    last = span[1] - timedelta(days=1)
    return (
        f"The diary has no session after {last}, and plans look ahead to {by}: from then on they "
        "use the open weekdays of the clinic file. Add sessions, or give a later last day."
    )
