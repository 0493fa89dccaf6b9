"""Options that several commands share, the values they accept, and the clock."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from functools import wraps
from pathlib import Path
from typing import Any, TypeVar

import click

from rehab.care.case import Eye
from rehab.care.contact_checks import check_text
from rehab.errors import MeasureError
from rehab.measures.age_text import Age, parse_age
from rehab.measures.clock import read_clock
from rehab.measures.dates import WEEKDAYS
from rehab.rules.protocol import Protocol
from rehab.settings import TABLES_FOLDER, read_home, read_settings
from rehab.store.store import Stamp
from rehab.table_files import read_protocol
from rehab.workflow import Desk, open_desk

Command = TypeVar("Command", bound=Callable[..., Any])
EYES = {"r": Eye.RIGHT, "l": Eye.LEFT, "od": Eye.RIGHT, "os": Eye.LEFT}


FIRST_YEAR, AFTER_YEAR = 1900, 2200


class Day(click.ParamType[date]):
    """A calendar day, written year-month-day so that nobody has to guess the order."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        if isinstance(value, date):
            return value
        try:
            day = date.fromisoformat(value)
        except ValueError:
            self.fail(
                f"{value!r} is not a day; write year-month-day, such as 2026-03-09", param, ctx
            )
        if not FIRST_YEAR <= day.year < AFTER_YEAR:
            self.fail(f"{value!r} is not in the years {FIRST_YEAR} to {AFTER_YEAR - 1}", param, ctx)
        return day


class Beginning(click.ParamType[str]):
    """One of some words, or as much of its beginning as tells it from the others."""

    def __init__(self, words: tuple[str, ...], name: str) -> None:
        self.words, self.name = words, name

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        typed = str(value).strip().lower()
        found = [w for w in self.words if w.lower() == typed]
        found = found or [w for w in self.words if typed and w.lower().startswith(typed)]
        if len(found) != 1:
            self.fail(f"{value!r} is not one of: {', '.join(self.words)}", param, ctx)
        return found[0]


class Weekday(click.ParamType[int]):
    """A weekday by its name or the beginning of it, 0 (Monday) to 6."""

    name = "weekday"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        return WEEKDAYS.index(Beginning(WEEKDAYS, self.name).convert(value, param, ctx))


class TimeOfDay(click.ParamType[int]):
    """Minutes after midnight, written as 10:00."""

    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        try:
            return read_clock(str(value))
        except MeasureError as error:
            return self.fail(error.what, param, ctx)


class HoursPerDay(click.ParamType[int]):
    """Hours a day, kept as minutes; more than the dose table may say is a slip, unless told so."""

    name = "hours"

    def __init__(self, most: int = 12) -> None:
        self.most = most

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        try:
            minutes = round(float(value) * 60)
        except (ValueError, OverflowError):
            minutes = 0
        if not 0 < minutes <= self.most * 60:
            self.fail(
                f"{value!r} is not above 0 and at most {self.most} hours; write such as 1.5",
                param,
                ctx,
            )
        return minutes


class EyeName(click.ParamType[Eye]):
    """right or left; R, L, OD and OS are understood too."""

    name = "eye"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Eye:
        if isinstance(value, Eye):
            return value
        word = str(value).strip().lower()
        if word in EYES or word in tuple(Eye):
            return EYES.get(word) or Eye(word)
        return self.fail(f"{value!r} is not an eye; write right or left (R, L, OD, OS)", param, ctx)


class PerEye(click.ParamType[tuple[Eye, str]]):
    """EYE=VALUE, such as right=6/18."""

    name = "eye=value"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[Eye, str]:
        if isinstance(value, tuple):
            return value
        eye, equals, said = str(value).partition("=")
        if not equals or not said.strip():
            self.fail(f"{value!r} names no eye; write right=VALUE or left=VALUE", param, ctx)
        return EyeName().convert(eye, param, ctx), said.strip()


FILE = click.Path(path_type=Path, exists=True, dir_okay=False)
NEW_FILE = click.Path(path_type=Path, dir_okay=False)
corrects_option = click.option(
    "--corrects", metavar="KEY", help="The record that this one replaces; say --why."
)
seen_option = click.option("--seen", type=click.IntRange(min=1), help="The version you looked at.")


def file_name(number: str) -> str:
    """A child's number as the beginning of a file's name."""
    return number.replace("/", "-")


def _today() -> date:
    return datetime.now().astimezone().date()


def today_option(command: Command) -> Command:
    return click.option(
        "--today",
        type=Day(),
        default=_today,
        help="The day to plan from (else the day of this machine).",
    )(command)


def json_option(command: Command) -> Command:
    return click.option("--json", "as_json", is_flag=True, help="Print JSON.")(command)


def aged(command: Command) -> Command:
    """Gives `command` an age in either of two ways, for `read_age`."""
    said = click.option("--age", help='With its unit, such as 7y, 9m, 5w, 35d or "11.9 months".')
    return said(click.option("--age-months", type=int, help="In completed months.")(command))


def read_age(age: str | None, age_months: int | None) -> Age:
    if (age is None) == (age_months is None):
        raise MeasureError(
            "one age is needed.", where="age", do="Give --age 7y or --age-months 9, not both."
        )
    return parse_age(age if age is not None else f"{age_months} months")


def stamped(command: Callable[..., None]) -> Callable[..., None]:
    """Gives `command` a stamp of who records, and why; every change keeps both."""
    return _stamped(command, click.option("--why", default="", help="Why, in your own words."))


def stamped_with_reason(command: Callable[..., None]) -> Callable[..., None]:
    """As `stamped`, for changes that nobody may make without saying why."""
    return _stamped(command, click.option("--why", required=True, help="Why, in your own words."))


def _stamped(
    command: Callable[..., None],
    why: Callable[[Callable[..., None]], Callable[..., None]],
) -> Callable[..., None]:
    who = click.option(
        "--who", envvar="REHAB_USER", required=True, help="Your name (or set REHAB_USER)."
    )

    @wraps(command)
    def with_stamp(*args: Any, who: str, why: str, **given: Any) -> None:
        # Both are shown again in histories, where they must not steer a terminal.
        for name, said in (("--who", who), ("--why", why)):
            said.encode()
            check_text("text", said, name)
        command(*args, stamp=Stamp(by=who, at=datetime.now(UTC), reason=why), **given)

    return who(why(with_stamp))


def tables_in_force(home: Path | None) -> Protocol:
    """The decision tables, which can be asked before there is a clinic."""
    return read_protocol(read_home(home) / TABLES_FOLDER)


def desk(home: Path | None) -> Desk:
    """The clinic's desk, whose database is closed when the command ends."""
    opened = open_desk(read_settings(home))
    click.get_current_context().call_on_close(opened.store.close)
    return opened
