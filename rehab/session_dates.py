"""The sessions that the clinic's diary makes, day by day, and why a booked day is shut."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from itertools import islice
from zoneinfo import ZoneInfo

from dateutil.rrule import rrulestr

from rehab.care.case import Appointment
from rehab.care.diary import Closure, Diary, Holiday, Session, SessionPattern, Site
from rehab.errors import RecordError
from rehab.measures.clock import clock

ONE_DAY = timedelta(days=1)
LONGEST_RULE = 200
# For a pattern that goes on: later than every day that a command accepts.
FOREVER = date(2199, 12, 31)
CODES = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
# RFC 5545, 3.3.10: which parts go with which frequency. Parts of the hour are left out, since a
# session's times stand beside its rule. Days of the month are left to MONTHLY, which says the same:
# a daily rule that never comes true would be looked for through three million days.
ALWAYS = {"FREQ", "INTERVAL", "COUNT", "UNTIL", "WKST", "BYMONTH", "BYDAY"}
PARTS = {
    "DAILY": ALWAYS,
    "WEEKLY": ALWAYS | {"BYSETPOS"},
    "MONTHLY": ALWAYS | {"BYSETPOS", "BYMONTHDAY"},
    "YEARLY": ALWAYS | {"BYSETPOS", "BYMONTHDAY", "BYYEARDAY", "BYWEEKNO"},
}
MOST = {
    "INTERVAL": 999, "COUNT": 9999, "BYMONTH": 12, "BYMONTHDAY": 31, "BYYEARDAY": 366,
    "BYWEEKNO": 53, "BYSETPOS": 366, "BYDAY": 53,
}  # fmt: skip
COUNTED_FROM_THE_END = {"BYMONTHDAY", "BYYEARDAY", "BYWEEKNO", "BYSETPOS", "BYDAY"}
NUMBER = re.compile(r"([+-]?)([0-9]{1,4})")
WEEKDAY = re.compile(rf"([+-]?[0-9]{{1,2}})?({'|'.join(CODES)})")


def sessions(diary: Diary, start: date, until: date) -> tuple[Session, ...]:
    """The sessions from `start` to before `until`, in order of day, time and pattern.

    There is none on a day that is closed, nor on a holiday of the site's country or region.
    """
    return tuple(session for session, why in sessions_and_shut(diary, start, until) if not why)


def sessions_and_shut(diary: Diary, start: date, until: date) -> tuple[tuple[Session, str], ...]:
    """As `sessions`, also those that are not held, each with why; "" for those that are."""
    sites = {site.code: site for site in diary.sites}
    shut = _shut_days(diary, start, until)
    made = [
        (_session(pattern, site, on), _why(shut.get(on, ()), pattern, site))
        for pattern in diary.patterns
        if (site := sites.get(pattern.site)) is not None
        for on in days_of(pattern, start, until)
    ]
    return tuple(sorted(made, key=lambda m: (m[0].on, m[0].starts_minute, m[0].pattern)))


def session_of(diary: Diary, session_id: str) -> Session | None:
    """The session that takes place under this id; None where there is none, or none any more."""
    code, _, day = session_id.rpartition("/")
    patterns = tuple(p for p in diary.patterns if p.code == code)
    try:
        on = date.fromisoformat(day)
    except ValueError:
        return None
    only = Diary(diary.sites, patterns, diary.closures, diary.holidays)
    return next(iter(sessions(only, on, on + ONE_DAY)), None)


def why_shut(diary: Diary, appointment: Appointment) -> str:
    """Why the appointment cannot be kept as it was booked, in a few words; "" where it can.

    One that was put on a day without a session on purpose is only held up by what shuts the day.
    """
    on = appointment.on
    if appointment.session:
        return _why_not_in_session(diary, appointment)
    shut = _shutting(diary, on)
    sites = {site.code: site for site in diary.sites}
    held = [p for p in diary.patterns if p.site in sites and _is_day_of(p, on)]
    whys = [_why(shut, pattern, sites[pattern.site]) for pattern in held]
    if held:
        return "" if "" in whys else whys[0]
    whole = why_day_shut(diary, on)
    if whole or appointment.overbooked:
        return whole
    span = clinic_span(diary)
    return "the diary has no session on this day" if span and span[0] <= on < span[1] else ""


def _why_not_in_session(diary: Diary, appointment: Appointment) -> str:
    on, code = appointment.on, appointment.session.rpartition("/")[0]
    pattern = next((p for p in diary.patterns if p.code == code), None)
    if pattern is None:
        return f"the session {code} is no longer held"
    site = next((s for s in diary.sites if s.code == pattern.site), None)
    if site is None:
        return f"the site {pattern.site} is no longer in use"
    if not _is_day_of(pattern, on):
        return f"the session {code} is not held on this day"
    if why := _why(_shutting(diary, on), pattern, site):
        return why
    at = appointment.starts_minute
    if (
        at is not None
        and not appointment.overbooked
        and not pattern.starts_minute <= at < pattern.ends_minute
    ):
        held = f"{clock(pattern.starts_minute)} to {clock(pattern.ends_minute)}"
        return f"the session {code} is now from {held}, the child is booked for {clock(at)}"
    return ""


def why_day_shut(diary: Diary, on: date) -> str:
    """Why the whole clinic is shut on a day, in a few words; "" where it is not."""
    for reason in _shutting(diary, on):
        if isinstance(reason, Holiday):
            if all(_is_kept_at(reason, site) for site in diary.sites):
                return _holiday_words(reason)
        elif not reason.site and not reason.pattern:
            return reason.why
    return ""


def moment(on: date, minute: int, time_zone: str) -> datetime:
    """The moment, in UTC, at which the clocks of `time_zone` show `minute` after midnight.

    As RFC 5545, 3.3.5 has it, an hour that comes twice means the first; an hour that is left out
    is counted on as if the clocks had not yet been changed.
    """
    local = datetime.combine(on, time()) + timedelta(minutes=minute)
    return local.replace(tzinfo=ZoneInfo(time_zone)).astimezone(UTC)


def span_of(patterns: Iterable[SessionPattern]) -> tuple[date, date] | None:
    """The first day of these patterns and the day after their last."""
    spans = [(pattern.first, _end(pattern)) for pattern in patterns]
    return (min(s for s, _ in spans), max(e for _, e in spans)) if spans else None


def clinic_span(diary: Diary) -> tuple[date, date] | None:
    """As `span_of`, for all patterns but lists under anaesthesia: there the diary decides."""
    return span_of(pattern for pattern in diary.patterns if not pattern.under_anaesthesia)


def days_of(pattern: SessionPattern, start: date, until: date) -> tuple[date, ...]:
    """The days from `start` to before `until` on which the pattern has a session, in order."""
    first = max(start, pattern.first)
    end = min(until, pattern.last + ONE_DAY) if pattern.last else until
    if end <= first:
        return ()
    if not pattern.rule:
        return (pattern.first,) if first == pattern.first else ()
    last = end - ONE_DAY
    years = range(first.year, last.year + 1)
    return tuple(on for y in years for on in _days_in_year(pattern, y) if first <= on <= last)


def first_day(rule: str, start: date) -> date:
    """The first day from `start` on that the rule gives; raises RecordError when none comes.

    Ten years are looked through, in which 29 February comes twice or more.
    """
    check_rule(rule)
    found = next(_occurrences(rule, start, date(start.year + 10, start.month, 1)), None)
    if found is None:
        raise RecordError(
            f"the rule {rule} makes no session in the ten years from {start}.",
            do="Correct the rule, or begin on another day.",
        )
    return found


def weekday_rule(weekdays: Iterable[int]) -> str:
    """The rule for every week on these days, 0 (Monday) to 6."""
    return f"FREQ=WEEKLY;BYDAY={','.join(CODES[day] for day in sorted(set(weekdays)))}"


def check_rule(text: str) -> None:
    """Raises RecordError for what RFC 5545 does not allow, and for rules of less than a day."""
    if problem := _problem_of(text):
        raise RecordError(
            f"the rule {text[:LONGEST_RULE]!r} cannot be followed: {problem}.",
            do="Write it as RFC 5545 says, such as FREQ=WEEKLY;INTERVAL=2;BYDAY=MO or "
            "FREQ=MONTHLY;BYDAY=1TU.",
        )


def _problem_of(text: str) -> str:
    """What is wrong with a rule, in words; dateutil lets much of it pass and guesses."""
    if len(text) > LONGEST_RULE:
        return f"it is longer than {LONGEST_RULE} characters"
    pairs = [part.partition("=") for part in text.split(";")]
    parts = {name: value for name, _, value in pairs}
    if len(parts) < len(pairs):
        return "a part comes twice"
    frequency = parts.get("FREQ", "")
    if frequency not in PARTS:
        return f"FREQ must be one of {', '.join(PARTS)}"
    for name, value in parts.items():
        if name not in PARTS[frequency]:
            return f"{name or 'an empty part'} does not go with FREQ={frequency}"
        if wrong := _problem_of_part(name, value):
            return wrong
    numbered = any(char.isdigit() for char in parts.get("BYDAY", ""))
    if numbered and (frequency in ("DAILY", "WEEKLY") or "BYWEEKNO" in parts):
        return "a numbered weekday such as 1MO goes with a month or a year only"
    if "COUNT" in parts and "UNTIL" in parts:
        return "COUNT and UNTIL exclude each other"
    if "BYSETPOS" in parts and not any(n.startswith("BY") for n in parts.keys() - {"BYSETPOS"}):
        return "BYSETPOS needs another part that begins with BY"
    return ""


def _problem_of_part(name: str, value: str) -> str:
    if name == "UNTIL":
        return "" if _is_day(value) else "UNTIL must be a day such as 20271231"
    if name == "WKST":
        return "" if value in CODES else f"WKST must be one of {', '.join(CODES)}"
    if name == "FREQ":
        return ""
    for one in value.split(","):
        number = one
        if name == "BYDAY":
            day = WEEKDAY.fullmatch(one)
            if day is None:
                return f"BYDAY={one} is no weekday such as MO"
            number = day[1] or "1"
        found = NUMBER.fullmatch(number)
        signed = found is not None and found[1] and name not in COUNTED_FROM_THE_END
        if found is None or signed or not 1 <= int(found[2]) <= MOST[name]:
            return f"{name}={one} is not from 1 to {MOST[name]}"
    if name in ("INTERVAL", "COUNT") and "," in value:
        return f"{name} must be one number"
    return ""


def _is_day(text: str) -> bool:
    try:
        return bool(re.fullmatch("[0-9]{8}", text) and date.fromisoformat(text))
    except ValueError:
        return False


@lru_cache(maxsize=1024)
def _days_in_year(pattern: SessionPattern, year: int) -> tuple[date, ...]:
    try:
        check_rule(pattern.rule)
    except RecordError as error:
        where = f"session pattern {pattern.code}"
        raise RecordError(error.what, where=where, do=error.do) from None
    days = _occurrences(pattern.rule, pattern.first, date(year, 12, 31))
    return tuple(on for on in days if on.year == year)


def _occurrences(rule: str, first: date, last: date) -> Iterator[date]:
    """The days of a rule from `first` to `last`."""
    parts = dict(part.split("=") for part in rule.split(";"))
    count = int(parts.pop("COUNT")) if "COUNT" in parts else None
    last = min(last, date.fromisoformat(parts.pop("UNTIL", last.isoformat())))
    ending = ";".join(
        f"{name}={value}" for name, value in {**parts, "UNTIL": f"{last:%Y%m%d}"}.items()
    )
    for found in islice(rrulestr(ending, dtstart=datetime.combine(first, time())), count):
        yield found.date()


@lru_cache(maxsize=1024)
def _end(pattern: SessionPattern) -> date:
    if not pattern.rule:
        return pattern.first + ONE_DAY
    last = pattern.last or FOREVER
    if "COUNT=" in pattern.rule or "UNTIL=" in pattern.rule:
        check_rule(pattern.rule)
        last = max(_occurrences(pattern.rule, pattern.first, last), default=pattern.first)
    return last + ONE_DAY


def _is_day_of(pattern: SessionPattern, on: date) -> bool:
    return bool(days_of(pattern, on, on + ONE_DAY))


def _shut_days(diary: Diary, start: date, until: date) -> dict[date, list[Closure | Holiday]]:
    """What shuts anything from `start` to before `until`, by day; closures before holidays."""
    shut: dict[date, list[Closure | Holiday]] = defaultdict(list)
    for closure in diary.closures:
        first, end = max(start, closure.start), min(until, closure.until)
        for n in range((end - first).days):
            shut[first + n * ONE_DAY].append(closure)
    for holiday in diary.holidays:
        if start <= holiday.on < until:
            shut[holiday.on].append(holiday)
    return shut


def _shutting(diary: Diary, on: date) -> Sequence[Closure | Holiday]:
    return _shut_days(diary, on, on + ONE_DAY).get(on, ())


def _why(shut: Sequence[Closure | Holiday], pattern: SessionPattern, site: Site) -> str:
    """The first reason that shuts this pattern at this site; "" where there is none."""
    for reason in shut:
        if isinstance(reason, Holiday):
            if _is_kept_at(reason, site):
                return _holiday_words(reason)
        elif reason.site in ("", pattern.site) and reason.pattern in ("", pattern.code):
            return reason.why
    return ""


def _is_kept_at(holiday: Holiday, site: Site) -> bool:
    return holiday.country == site.country and holiday.region in ("", site.region)


def _holiday_words(holiday: Holiday) -> str:
    estimated = " (day estimated)" if holiday.estimated else ""
    return f"public holiday, {holiday.name}{estimated}"


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
