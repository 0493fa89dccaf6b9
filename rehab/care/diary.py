"""The clinic's diary: sites, session patterns, closures, holidays, and the sessions they make."""

from dataclasses import dataclass
from datetime import date

from rehab.care.case import CheckKind

AT_CLINIC = tuple(kind for kind in CheckKind if kind is not CheckKind.ANAESTHESIA)
# What a list under anaesthesia offers unless the clinic says otherwise: common practice, no source.
ASLEEP = (
    CheckKind.PRESSURE,
    CheckKind.VISUAL_AXIS,
    CheckKind.REFRACTION,
    CheckKind.FUNDUS,
    CheckKind.SUTURES,
    CheckKind.ANAESTHESIA,
)


@dataclass(frozen=True, slots=True)
class Site:
    """A place where children are seen. `country` and `region` name its list of holidays."""

    code: str
    name: str
    address: str = ""
    time_zone: str = "UTC"
    country: str = ""
    region: str = ""


@dataclass(frozen=True, slots=True)
class SessionPattern:
    """Sessions that come again: `rule` is an RFC 5545 recurrence, "" for the one day `first`.

    No session is after `last` (None: it goes on). Times are local minutes after midnight at the
    site. `capacity_minutes` may exceed the length of the session when several people work in it.
    """

    code: str
    site: str
    first: date
    starts_minute: int
    ends_minute: int
    capacity_minutes: int
    rule: str = ""
    last: date | None = None
    kinds: tuple[CheckKind, ...] = AT_CLINIC
    under_anaesthesia: bool = False
    who: str = ""


@dataclass(frozen=True, slots=True)
class Closure:
    """No session from `start` to before `until`: of one site or pattern where these are named."""

    code: str
    start: date
    until: date
    why: str
    site: str = ""
    pattern: str = ""


@dataclass(frozen=True, slots=True)
class Holiday:
    """A public holiday as the clinic keeps it; `estimated` where the moon has yet to be seen."""

    country: str
    region: str
    on: date
    name: str
    estimated: bool = False


@dataclass(frozen=True, slots=True)
class Session:
    """One session on one day, with the room it has in all."""

    id: str
    pattern: str
    site: str
    on: date
    starts_minute: int
    ends_minute: int
    time_zone: str
    capacity_minutes: int
    kinds: tuple[CheckKind, ...]
    under_anaesthesia: bool
    who: str


@dataclass(frozen=True, slots=True)
class Diary:
    """All that is current; each tuple in order of its key."""

    sites: tuple[Site, ...] = ()
    patterns: tuple[SessionPattern, ...] = ()
    closures: tuple[Closure, ...] = ()
    holidays: tuple[Holiday, ...] = ()
