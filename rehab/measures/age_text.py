"""Ages as people say them: years, months, weeks or days; refused beyond childhood."""

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from rehab.errors import MeasureError
from rehab.measures.dates import DAYS_PER_WEEK, completed_months
from rehab.measures.typed_text import plain, quoted

BELOW_YEARS = 18
_DAYS_PER_YEAR = Decimal("365.25")
_MONTHS_PER_YEAR = 12
_PER_YEAR = {
    "y": Decimal(1),
    "m": Decimal(_MONTHS_PER_YEAR),
    "w": _DAYS_PER_YEAR / 7,
    "d": _DAYS_PER_YEAR,
}
_AGE = re.compile(
    r"([0-9]{1,4}(?:[.,][0-9]{1,2})?) ?"
    r"(y|yr|yrs|years?|m|mo|months?|w|wk|wks|weeks?|d|days?)(?: old)?"
)
# Below these ages a child is told by the smaller unit.
_MONTHS_FROM, _YEARS_FROM = 2, 24
_EXAMPLES = 'Write for example "7y", "9 months", "5w" or "35 days".'


@dataclass(frozen=True, slots=True)
class Age:
    """An age in completed months and in days; the one that was not said follows from the other."""

    months: int
    days: int


def parse_age(text: str) -> Age:
    match = _AGE.fullmatch(plain(text))
    if match is None:
        raise MeasureError(f"{quoted(text)} is no age with its unit.", where="age", do=_EXAMPLES)
    said, unit = Decimal(match[1].replace(",", ".")), match[2][0]
    years = said / _PER_YEAR[unit]
    if years >= BELOW_YEARS:
        raise MeasureError(
            f"{quoted(text)} is not below {BELOW_YEARS} years.", where="age", do=_EXAMPLES
        )
    months = said * _MONTHS_PER_YEAR / _PER_YEAR[unit]
    days = said * _DAYS_PER_YEAR / _PER_YEAR[unit]
    return Age(_whole(months), _whole(days))


def _whole(value: Decimal) -> int:
    # A unit's own count comes back a hair below itself after the division.
    return int(round(value, 9))


def age_in_words(born: date, on: date) -> str:
    """Weeks, months or years, as people tell a child's age."""
    months = completed_months(born, on)
    if months < _MONTHS_FROM:
        count, unit = (on - born).days // DAYS_PER_WEEK, "week"
    elif months < _YEARS_FROM:
        count, unit = months, "month"
    else:
        count, unit = months // _MONTHS_PER_YEAR, "year"
    return f"{count} {unit}{'' if count == 1 else 's'}"
