"""The clinic's own settings: one TOML file and the environment, read once into frozen records."""

import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from datetime import date, timedelta
from enum import StrEnum
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from rehab.care.regimen_life import Role
from rehab.errors import SettingsError
from rehab.measures.dates import WEEKDAYS

ROLES = (Role.ORTHOPTIST, Role.DOCTOR, Role.NURSE, Role.COORDINATOR)
CLINIC_FILE = "clinic.toml"
DATABASE_FILE = "rehab.db"
TABLES_FOLDER = "tables"
SHORTEST_SECRET = 20
FARTHEST_REMINDER_DAYS = 60
MAIL_ADDRESS = re.compile(r"[!-?A-~]+@[!-?A-~]+")
# RFC 3986 without name, password, query and fragment: it is printed, and names are put after it.
FOLDER_ADDRESS = re.compile(
    r"https://[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?(:[0-9]{1,5})?(/[A-Za-z0-9._~%/-]*)?"
)
COUNTRY = re.compile(r"[A-Z]{2}")
LETTER_LANGUAGES = ("en", "es", "fr", "pt", "sw", "hi", "bn", "ta", "ar", "ur")


class Paper(StrEnum):
    """The sheets that the clinic's printer takes."""

    A4 = "a4"
    LETTER = "letter"


class Security(StrEnum):
    """How a mail server is spoken to: TLS once greeted, TLS from the start, or in the open."""

    STARTTLS = "starttls"
    TLS = "tls"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class MailServer:
    """The server that takes the clinic's e-mails, and the address that they come from."""

    host: str
    sender: str
    port: int = 587
    security: Security = Security.STARTTLS
    user: str = ""


@dataclass(frozen=True, slots=True)
class Clinic:
    """What letters and plans must know of the clinic; `open_weekdays` are 0 (Monday) to 6.

    `country` is a code of ISO 3166-1, or empty where it is not said; `language` is the one in which
    the clinic itself works; under `feed_address` the folder of the families' calendars is served.
    Where `people` names nobody, everyone who records is taken for an orthoptist.
    """

    name: str
    phone: str = ""
    emergency_phone: str = ""
    out_of_hours: str = ""
    address: str = ""
    country: str = ""
    language: str = LETTER_LANGUAGES[0]
    paper: Paper = Paper.A4
    time_zone: str = "UTC"
    open_weekdays: tuple[int, ...] = (0, 1, 2, 3, 4)
    closed: tuple[date, ...] = ()
    horizon_months: int = 18
    people: tuple[tuple[str, Role], ...] = ()
    feed_secret: str = field(default="", repr=False)
    feed_address: str = ""
    reminder_days: tuple[int, ...] = (3, 1)
    smtp: MailServer | None = None

    def role_of(self, name: str) -> Role | None:
        """The role of a person by name; None for somebody whom the file does not name."""
        return dict(self.people).get(name.strip())

    def is_open(self, on: date) -> bool:
        return on.weekday() in self.open_weekdays and on not in self.closed


@dataclass(frozen=True, slots=True)
class Settings:
    """Where this clinic's files lie, and what its file says.

    `database` is the address of a database that several machines share; without one the records
    lie in a file of their own. It may hold a password, so it is never printed.
    """

    home: Path
    clinic: Clinic
    database: str = field(default="", repr=False)

    @property
    def database_url(self) -> str:
        return self.database or f"sqlite:///{self.home / DATABASE_FILE}"

    @property
    def tables(self) -> Path:
        return self.home / TABLES_FOLDER


def read_home(home: Path | None = None, environ: Mapping[str, str] = os.environ) -> Path:
    """The clinic's folder: as given, or REHAB_HOME, or ./clinic."""
    return home or Path(environ.get("REHAB_HOME", "clinic"))


def read_settings(home: Path | None = None, environ: Mapping[str, str] = os.environ) -> Settings:
    folder = read_home(home, environ)
    database = environ.get("REHAB_DATABASE_URL", "").strip()
    return Settings(folder, read_clinic(folder / CLINIC_FILE), database)


def read_feed_secret(settings: Settings, environ: Mapping[str, str] = os.environ) -> str:
    """From which the names of the families' calendars follow: REHAB_FEED_SECRET, or the file's."""
    secret = environ.get("REHAB_FEED_SECRET") or settings.clinic.feed_secret
    if len(secret) < SHORTEST_SECRET:
        raise SettingsError(
            "without a secret the address of a family's calendar could be guessed.",
            where=str(settings.home / CLINIC_FILE),
            do=f'Write feed_secret = "..." there, with {SHORTEST_SECRET} or more characters drawn '
            "by chance, and keep it: with another one, families must subscribe anew.",
        )
    return secret


def read_calendar_password(environ: Mapping[str, str] = os.environ) -> str:
    """The password for the calendar server, which belongs neither in a file nor in a command."""
    return environ.get("REHAB_CALENDAR_PASSWORD", "")


def read_smtp_password(environ: Mapping[str, str] = os.environ) -> str:
    """The password for the mail server, which belongs neither in a file nor in a command."""
    return environ.get("REHAB_SMTP_PASSWORD", "")


def read_clinic(path: Path) -> Clinic:
    """The clinic of the file at `path`; raises SettingsError that lists every problem in it."""
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (FileNotFoundError, NotADirectoryError):
        raise SettingsError(
            "there is no clinic file here.", where=str(path), do="Make one with: rehab init"
        ) from None
    except ValueError as error:
        raise SettingsError(f"{error}.", where=str(path), do="Correct the file.") from None
    except RecursionError:
        raise SettingsError(
            "its lists are nested too deeply.", where=str(path), do="Correct the file."
        ) from None
    except OSError as error:
        raise SettingsError(
            f"the clinic file cannot be read: {error.strerror}.",
            where=str(path),
            do="Make it a file that you may read.",
        ) from None
    problems = list(_problems(raw))
    if problems:
        raise SettingsError("; ".join(problems) + ".", where=str(path), do="Correct the file.")
    if "open_weekdays" in raw:
        raw["open_weekdays"] = tuple(sorted({WEEKDAYS.index(day) for day in raw["open_weekdays"]}))
    if "closed" in raw:
        raw["closed"] = tuple(sorted(raw["closed"]))
    if "people" in raw:
        raw["people"] = tuple((name.strip(), Role(role)) for name, role in raw["people"].items())
    if "reminder_days" in raw:
        raw["reminder_days"] = tuple(sorted(set(raw["reminder_days"]), reverse=True))
    if "paper" in raw:
        raw["paper"] = Paper(raw["paper"])
    if "smtp" in raw:
        security = Security(raw["smtp"].get("security", Security.STARTTLS))
        raw["smtp"] = MailServer(**{**raw["smtp"], "security": security})
    return Clinic(**raw)


def _problems(raw: dict[str, Any]) -> list[str]:
    texts = {
        "name",
        "phone",
        "emergency_phone",
        "out_of_hours",
        "address",
        "country",
        "time_zone",
        "feed_secret",
        "feed_address",
    }
    known = {field.name for field in fields(Clinic)}
    problems = [
        f"{key} is not a setting (known: {', '.join(sorted(known))})"
        for key in sorted(raw.keys() - known)
    ]
    problems += [
        f"{key} must be text in quotes"
        for key in sorted(texts & raw.keys())
        if not isinstance(raw[key], str)
    ]
    if not str(raw.get("name", "")).strip():
        problems.append("name is missing: the clinic's name stands on every letter")
    zone = raw.get("time_zone", "UTC")
    if isinstance(zone, str) and not is_time_zone(zone):
        problems.append(f"time_zone {zone!r} is not known; write such as Europe/Paris")
    days = raw.get("open_weekdays", ["Monday"])
    if not isinstance(days, list) or not days or any(day not in WEEKDAYS for day in days):
        problems.append(f"open_weekdays must name at least one of {', '.join(WEEKDAYS)}")
    closed = raw.get("closed", [])
    if not isinstance(closed, list) or any(type(day) is not date for day in closed):
        problems.append("closed must list dates such as 2026-12-25, without quotes")
    people = raw.get("people", {})
    if not isinstance(people, dict) or any(role not in ROLES for role in people.values()):
        problems.append(
            f'[people] must give each name one of {", ".join(ROLES)}, such as "A. Name" = "doctor"'
        )
    months = raw.get("horizon_months", 18)
    if type(months) is not int or not 1 <= months <= 240:
        problems.append("horizon_months must be a whole number from 1 to 240")
    secret = raw.get("feed_secret", "")
    if isinstance(secret, str) and 0 < len(secret) < SHORTEST_SECRET:
        problems.append(f"feed_secret needs {SHORTEST_SECRET} or more characters, best by chance")
    ahead = raw.get("reminder_days", [])
    if not isinstance(ahead, list) or any(
        type(days) is not int or not 1 <= days <= FARTHEST_REMINDER_DAYS for days in ahead
    ):
        problems.append(
            f"reminder_days must list whole days from 1 to {FARTHEST_REMINDER_DAYS}, such as [3, 1]"
        )
    problems += _letter_problems(raw)
    return problems + list(_smtp_problems(raw.get("smtp", {"host": "-", "sender": "a@b"})))


def _letter_problems(raw: Mapping[str, Any]) -> Iterator[str]:
    country = raw.get("country", "")
    if isinstance(country, str) and country and not COUNTRY.fullmatch(country):
        yield (
            f"country {country!r} is not a code of ISO 3166-1; write its two capital letters, "
            'such as GB, or "" where it is not to be said'
        )
    if raw.get("language", "en") not in LETTER_LANGUAGES:
        yield f"language must be one of {', '.join(LETTER_LANGUAGES)}"
    if raw.get("paper", Paper.A4) not in tuple(Paper):
        yield f"paper must be one of {', '.join(Paper)}"
    address = raw.get("feed_address", "")
    if isinstance(address, str) and address and not FOLDER_ADDRESS.fullmatch(address):
        yield (
            "feed_address must be the address of a folder that starts with https://, such as "
            "https://calendars.example.org/eyes: no spaces, no name or password, no ? or #"
        )


def _smtp_problems(raw: Any) -> Iterator[str]:
    if not isinstance(raw, dict):
        yield "[smtp] must be a part of its own, with host and sender"
        return
    known = {field.name for field in fields(MailServer)}
    for key in sorted(raw.keys() - known):
        yield f"[smtp] {key} is not a setting (known: {', '.join(sorted(known))})"
    for key in ("host", "sender", "user"):
        said = raw.get(key, "")
        if not isinstance(said, str) or not said.isprintable() or " " in said:
            yield f"[smtp] {key} must be text in quotes without spaces"
        elif not said and key != "user":
            yield f"[smtp] {key} is missing"
    if not MAIL_ADDRESS.fullmatch(str(raw.get("sender") or "a@b")):
        yield "[smtp] sender must be an e-mail address, such as clinic@example.org"
    port = raw.get("port", 587)
    if type(port) is not int or not 1 <= port <= 65535:
        yield "[smtp] port must be a whole number from 1 to 65535"
    if raw.get("security", Security.TLS) not in tuple(Security):
        yield f"[smtp] security must be one of {', '.join(Security)}"


def is_time_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def open_days(clinic: Clinic, start: date, until: date) -> tuple[date, ...]:
    """The days from `start` to before `until` on which `clinic` is open."""
    days = (start + timedelta(days=n) for n in range((until - start).days))
    return tuple(day for day in days if clinic.is_open(day))
