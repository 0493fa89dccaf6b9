"""The sessions that the clinic's diary makes, day by day."""

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from dateutil.rrule import rrulestr

from rehab.care.diary import Closure, Diary, Session, SessionPattern, Site
from rehab.errors import RecordError

ONE_DAY = timedelta(days=1)


def sessions(diary: Diary, start: date, until: date) -> tuple[Session, ...]:
    """The sessions from `start` to before `until`, in order of day, time and pattern.

    There is none on a day that is closed, nor on a holiday of the site's country or region.
    """
    sites = {site.code: site for site in diary.sites}
    made = [
        _session(pattern, sites[pattern.site], on)
        for pattern in diary.patterns
        if pattern.site in sites
        for on in _days(pattern, start, until)
        if not _is_shut(diary, pattern, sites[pattern.site], on)
    ]
    return tuple(sorted(made, key=lambda s: (s.on, s.starts_minute, s.pattern)))


def _days(pattern: SessionPattern, start: date, until: date) -> Iterator[date]:
    first = max(start, pattern.first)
    end = min(until, pattern.last + ONE_DAY) if pattern.last else until
    if end <= first:
        return
    if not pattern.rule:
        if first == pattern.first:
            yield first
        return
    try:
        rule = rrulestr(pattern.rule, dtstart=datetime.combine(pattern.first, time()))
    except ValueError as error:
        raise RecordError(
            f"its rule {pattern.rule!r} cannot be followed ({error}).",
            where=f"session pattern {pattern.code}",
            do="Correct the pattern: RFC 5545 says how a rule is written.",
        ) from None
    moments = rule.between(
        datetime.combine(first, time()), datetime.combine(end - ONE_DAY, time()), inc=True
    )
    yield from sorted({moment.date() for moment in moments})


def _is_shut(diary: Diary, pattern: SessionPattern, site: Site, on: date) -> bool:
    return any(_shuts(closure, pattern, on) for closure in diary.closures) or any(
        holiday.on == on and holiday.country == site.country and holiday.region in ("", site.region)
        for holiday in diary.holidays
    )


def _shuts(closure: Closure, pattern: SessionPattern, on: date) -> bool:
    return (
        closure.start <= on < closure.until
        and closure.site in ("", pattern.site)
        and closure.pattern in ("", pattern.code)
    )


def _session(pattern: SessionPattern, site: Site, on: date) -> Session:
    return Session(
        id=f"{pattern.code}/{on}",
        pattern=pattern.code,
        site=pattern.site,
        on=on,
        starts_minute=pattern.starts_minute,
        ends_minute=pattern.ends_minute,
        time_zone=site.time_zone,
        capacity_minutes=pattern.capacity_minutes,
        kinds=pattern.kinds,
        under_anaesthesia=pattern.under_anaesthesia,
        who=pattern.who,
    )
