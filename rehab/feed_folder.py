"""A folder of the families' calendars, to be served so that a phone fetches its own anew.

The name of each file follows from the clinic's secret, so that nobody can guess it or read from
it whose it is. Only what changed is written. A calendar that is no more stays, without its events.
"""

import hmac
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from rehab.calendars import PRODID, calendar_file, empty_calendar
from rehab.care.case import Case
from rehab.care.changes import ONE_DAY, Entry
from rehab.care.diary import Site
from rehab.csv_files import csv_bytes
from rehab.errors import RehabError
from rehab.publish_desk import session_sites
from rehab.refresh import bring_up_to_date
from rehab.settings import Settings, read_feed_secret
from rehab.whole_files import write_whole
from rehab.workflow import Desk

NAME = re.compile(r"[0-9a-f]{40}\.ics")


@dataclass(frozen=True, slots=True)
class Fed:
    """How many calendars there are, how many were written, and how many were emptied."""

    calendars: int
    written: int
    emptied: int


def feed_name(secret: str, number: str) -> str:
    """RFC 2104, with SHA-256: whoever knows many names knows no other."""
    digest = hmac.digest(secret.encode(), f"feed\n{number}".encode(), "sha256")
    return f"{digest.hex()[:40]}.ics"


def feed_address(settings: Settings, number: str) -> str:
    """Where a phone fetches the child's calendar; empty where the clinic does not serve them."""
    folder = settings.clinic.feed_address
    return folder and f"{folder.rstrip('/')}/{feed_name(read_feed_secret(settings), number)}"


def webcal(address: str) -> str:
    """An https address in the form on which phones offer to subscribe and not to copy once."""
    return address and f"webcal{address.removeprefix('https')}"


def feed(
    desk: Desk,
    folder: Path,
    *,
    today: date,
    only: str | None = None,
    index: Path | None = None,
) -> Fed:
    """The calendar of each child, or of one, brought up to date in `folder`.

    `index` is a file for the clinic that says whose each is; it must not lie in the folder.
    """
    secret = read_feed_secret(desk.settings)
    if index and folder.resolve() in index.resolve().parents:
        raise RehabError(
            "the index would lie in the folder that is served, and tell whose each calendar is.",
            where=str(index),
            do="Choose a place outside the folder.",
        )
    if only is not None:
        desk.store.case(only)
    bring_up_to_date(desk, today, follow=True)
    names: dict[str, str] = {}
    written = 0
    for case in desk.store.cases([only] if only else None):
        number = case.child.number
        path = folder / feed_name(secret, number)
        if _is_over(case, today) and not path.exists():
            continue
        names[number] = path.name
        written += _write_changed(path, _calendar(desk, case))
    emptied = 0 if only else _empty_others(folder, set(names.values()))
    if index:
        write_whole(index, _index(names))
    return Fed(len(names), written, emptied)


def _calendar(desk: Desk, case: Case) -> bytes:
    entries = desk.store.entries(case.child.number)
    clinic = desk.settings.clinic
    return calendar_file(case.child, entries, clinic, sites=sites_of(desk, entries))


def sites_of(desk: Desk, entries: Iterable[Entry]) -> Mapping[str, Site]:
    """Where the sessions are that appear in a family's calendar."""
    days = [entry.on for entry in entries if entry.session]
    if not days:
        return {}
    clinic = desk.settings.clinic
    return session_sites(desk.store.diary(), clinic, min(days), max(days) + ONE_DAY)


def _is_over(case: Case, today: date) -> bool:
    return case.ending is not None and case.ending.on <= today


def _write_changed(path: Path, content: bytes) -> bool:
    if path.is_file() and path.read_bytes() == content:
        return False
    write_whole(path, content)
    return True


def _empty_others(folder: Path, known: set[str]) -> int:
    """Calendars of ours whose child was withdrawn, or whose name follows from an old secret."""
    content = empty_calendar()
    ours = f"PRODID:{PRODID}".encode()
    return sum(
        _write_changed(path, content)
        for path in sorted(folder.glob("*.ics"))
        if NAME.fullmatch(path.name) and path.name not in known and ours in path.read_bytes()
    )


def _index(names: Mapping[str, str]) -> bytes:
    return csv_bytes((("child", "file"), *sorted(names.items())))
