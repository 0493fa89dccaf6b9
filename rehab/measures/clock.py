"""Times of day as minutes after midnight by the clock on the wall, written as 09:05."""

import re

from rehab.errors import MeasureError

MINUTES_PER_DAY = 24 * 60
# Spreadsheets add the seconds.
_TIME = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])(?::00)?")
_MINUTES = re.compile("[0-9]{1,6}")


def clock(minute: int) -> str:
    """A minute after midnight as 09:05; the end of a day is 24:00."""
    return f"{minute // 60:02}:{minute % 60:02}"


def read_clock(said: str) -> int:
    """The minute after midnight that `said` names; raises MeasureError for anything else."""
    found = _TIME.fullmatch(said)
    if found is None:
        raise MeasureError(f"{said!r} is no time of day, such as 10:00.")
    return int(found[1]) * 60 + int(found[2])


def read_minutes(said: str) -> int:
    """A length of time in whole minutes; raises MeasureError for anything else."""
    if not _MINUTES.fullmatch(said):
        raise MeasureError(f"{said!r} is not whole minutes, such as 90.")
    return int(said)
