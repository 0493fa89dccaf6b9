"""What sites, sessions, closures and holidays must hold before they are recorded in the diary."""

import re
from collections.abc import Iterable
from datetime import timedelta
from difflib import get_close_matches

from rehab.care.case import CheckKind
from rehab.care.contact_checks import check_text
from rehab.care.diary import Closure, Diary, Holiday, SessionPattern, Site
from rehab.errors import RecordError
from rehab.measures.clock import MINUTES_PER_DAY, clock
from rehab.session_dates import check_rule, first_day
from rehab.settings import is_time_zone

CODE = re.compile(r"[^\W_][\w.-]{0,39}")
# More people than work in one session at once: a slip of the keyboard.
MOST_AT_ONCE = 20
LONGEST_CLOSURE = timedelta(days=731)


def check_code(code: str, word: str) -> None:
    if not CODE.fullmatch(code):
        raise RecordError(
            f"{code!r} cannot be the code of a {word}.",
            do="Use at most 40 letters, digits, dots and hyphens, such as north-monday.",
        )


def check_site(site: Site) -> None:
    """Raises RecordError for a site that has no name, or a time zone that nobody knows.

    Its country and region are checked against the lists of holidays, by whoever has them.
    """
    check_code(site.code, "site")
    if not site.name.strip():
        raise RecordError(
            "a site needs a name.", where=site.code, do="Give the name that families know."
        )
    check_text("name", site.name, site.code)
    check_text("address", site.address, site.code)
    if not is_time_zone(site.time_zone):
        raise RecordError(
            f"the time zone {site.time_zone!r} is not known.",
            where=site.code,
            do="Give a name such as Europe/Paris.",
        )
    if site.region and not site.country:
        raise RecordError(
            "a region belongs to a country.", where=site.code, do="Give the country too."
        )


def check_pattern(pattern: SessionPattern, diary: Diary) -> None:
    """Raises RecordError for sessions in which nobody could be seen."""
    check_code(pattern.code, "session")
    check_known("site", pattern.site, (site.code for site in diary.sites))
    check_text("staff", pattern.who, pattern.code)
    _check_hours(pattern)
    _check_kinds(pattern)
    if pattern.last is not None and pattern.last < pattern.first:
        raise RecordError(
            f"the last day {pattern.last} is before the first, {pattern.first}.",
            where=pattern.code,
            do="Check both days.",
        )
    if not pattern.rule:
        return
    check_rule(pattern.rule)
    begins = first_day(pattern.rule, pattern.first)
    if begins != pattern.first:
        raise RecordError(
            f"the rule {pattern.rule} gives no session on the first day, {pattern.first}.",
            where=pattern.code,
            do=f"Counted from there, the first session would be on {begins:%A} {begins}: "
            "give such a day as the first.",
        )


def _check_hours(pattern: SessionPattern) -> None:
    starts, ends = pattern.starts_minute, pattern.ends_minute
    if not 0 <= starts < ends <= MINUTES_PER_DAY:
        raise RecordError(
            f"a session cannot end at {clock(ends)} when it starts at {clock(starts)}.",
            where=pattern.code,
            do="Give both times of one day; a session that passes midnight is two sessions.",
        )
    length = ends - starts
    if pattern.capacity_minutes <= 0:
        raise RecordError(
            f"a session with {pattern.capacity_minutes} minutes of capacity holds no child.",
            where=pattern.code,
            do=f"Give the minutes in which children can be seen: one person has at most {length} "
            f"from {clock(starts)} to {clock(ends)}.",
        )
    if pattern.capacity_minutes > MOST_AT_ONCE * length:
        raise RecordError(
            f"{pattern.capacity_minutes} minutes of capacity in {length} minutes would need more "
            f"than {MOST_AT_ONCE} people at once.",
            where=pattern.code,
            do="Check the number: it is counted in minutes.",
        )


def _check_kinds(pattern: SessionPattern) -> None:
    if not pattern.kinds:
        raise RecordError(
            "a session that offers no kind of check holds no child.",
            where=pattern.code,
            do="Name at least one kind.",
        )
    asleep = CheckKind.ANAESTHESIA in pattern.kinds
    if asleep is not pattern.under_anaesthesia:
        raise RecordError(
            "each list under anaesthesia offers that examination, and no other session does.",
            where=pattern.code,
            do="Say --under-anaesthesia and name this kind, or do neither.",
        )


def check_closure(closure: Closure, diary: Diary) -> None:
    """Raises RecordError for days that cannot be, and for a place that the diary does not know."""
    last = closure.until - timedelta(days=1)
    if last < closure.start:
        raise RecordError(
            f"the last day {last} is before the first, {closure.start}.", do="Check both days."
        )
    if closure.until - closure.start > LONGEST_CLOSURE:
        raise RecordError(
            f"the clinic would be closed from {closure.start} to {last}, more than two years.",
            do="Check the year. To end sessions for good, give them a last day: "
            "rehab diary session change",
        )
    if not closure.why.strip():
        raise RecordError("a closure needs a reason.", do="Say why: families will ask.")
    check_text("reason", closure.why, "closure")
    if closure.site:
        check_known("site", closure.site, (site.code for site in diary.sites))
    if closure.pattern:
        check_known("session", closure.pattern, (pattern.code for pattern in diary.patterns))


def check_holiday(holiday: Holiday) -> None:
    if not holiday.name.strip():
        raise RecordError("a holiday needs a name.", where=str(holiday.on), do="Give its name.")
    check_text("name", holiday.name, str(holiday.on))


def check_known(word: str, code: str, known: Iterable[str]) -> None:
    """Raises RecordError, with what is meant perhaps, for a code that the diary does not have."""
    codes = list(known)
    if code in codes:
        return
    close = get_close_matches(code, codes, n=3) or codes[:20]
    said = f"Known: {', '.join(close)}." if codes else f"Add it first: rehab diary {word} add"
    raise RecordError(f"the diary has no {word} {code!r}.", do=said)
