"""Public holidays of a country or region as the `holidays` library lists them."""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches

import holidays
from holidays.holiday_base import HolidayBase

from rehab.care.diary import Holiday
from rehab.errors import RecordError

ENGLISH = "en_US"
YEARS_COMPARED = 3
MOST_YEARS = 30


@dataclass(frozen=True, slots=True)
class HolidayList:
    """The holidays of some years in order.

    `missing`: by year, holidays that each of the three years before the first had and this one
    lacks. The lists of some countries lose holidays in silence where they run out.
    """

    holidays: tuple[Holiday, ...]
    missing: Mapping[int, tuple[str, ...]]


def holiday_list(
    country: str, region: str = "", *, years: range, language: str = ""
) -> HolidayList:
    """Raises RecordError for a place or language without a list, and for years outside it."""
    code, subdivision = place(country, region)
    where = "-".join(filter(None, (code, subdivision)))
    if not 0 < len(years) <= MOST_YEARS:
        raise RecordError(
            f"the years {years.start} to {years.stop - 1} are not 1 to {MOST_YEARS} years.",
            where=where,
            do="Give the first and the last year, such as 2026-2028.",
        )
    spoken = _language(code, language)
    found: list[Holiday] = []
    names: dict[int, set[str]] = {}
    for year in years:
        listed = _year(code, subdivision, year, spoken)
        if not listed:
            raise RecordError(
                f"no list is known for {year}.",
                where=where,
                do="Ask for fewer years, or add the holidays one by one: rehab diary holidays add",
            )
        marks = _estimate_marks(listed)
        found += [
            _holiday(code, subdivision, on, name, marks) for on, name in sorted(listed.items())
        ]
        names[year] = _names(listed)
    ever = _always_before(code, subdivision, years.start, spoken)
    missing = {year: tuple(sorted(ever - had)) for year, had in names.items() if ever - had}
    return HolidayList(tuple(found), missing)


def place(country: str, region: str = "") -> tuple[str, str]:
    """The codes of a country and a region that are given by code or name, as the lists know them.

    Raises RecordError that names what is known.
    """
    lists: dict[str, list[str]] = holidays.list_supported_countries(include_aliases=False)
    known = {name.casefold(): code for code in lists for name in (code, _class(code).__name__)}
    code = known.get(country.strip().casefold().replace(" ", ""))
    if code is None:
        raise RecordError(
            f"no list of public holidays is known for the country {country!r}.",
            do=f"{_meant(country, known)}Give its two letters of ISO 3166, such as KE: "
            f"{len(lists)} are known.",
        )
    if not region.strip():
        return code, ""
    entity = _class(code)
    names = {one.casefold(): one for one in entity.subdivisions}
    names |= {alias.casefold(): one for alias, one in entity.subdivisions_aliases.items()}
    subdivision = names.get(region.strip().casefold())
    if subdivision is None:
        regions = ", ".join(sorted(entity.subdivisions))
        raise RecordError(
            f"no region {region!r} is known in {code}.",
            do=f"{_meant(region, names)}Known regions: {regions}."
            if regions
            else "Its list is the same everywhere: leave the region out.",
        )
    return code, subdivision


def _class(code: str) -> type[HolidayBase]:
    found: type[HolidayBase] = getattr(holidays, code)
    # A code stands for an alias, whose base bears the name of the country.
    return found if len(found.__name__) > 2 else found.__bases__[0]


def _meant(given: str, known: Mapping[str, str]) -> str:
    close = get_close_matches(given.strip().casefold(), known, n=3)
    codes = {known[name]: name for name in reversed(close)}
    meant = [f"{code} ({name})" for code, name in reversed(codes.items())]
    return f"Did you mean {' or '.join(meant)}? " if meant else ""


def _language(code: str, language: str) -> str:
    entity = _class(code)
    known = entity.supported_languages
    if not language:
        return ENGLISH if ENGLISH in known else entity.default_language or ENGLISH
    if language not in known:
        raise RecordError(
            f"the holidays of {code} are not named in the language {language!r}.",
            do=f"Known: {', '.join(known)}." if known else "Leave the language out.",
        )
    return language


def _always_before(code: str, subdivision: str, first: int, language: str) -> set[str]:
    """What each of the last years before `first` had; nothing where one of them is not whole."""
    start = max(first - YEARS_COMPARED, _class(code).start_year)
    try:
        before = [_names(_year(code, subdivision, y, language)) for y in range(start, first)]
    except RecordError:
        return set()
    return set.intersection(*before) if before else set()


def _year(code: str, subdivision: str, year: int, language: str) -> HolidayBase:
    """Raises RecordError where the library says that it does not know the whole year."""
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        listed = holidays.country_holidays(
            code, subdiv=subdivision or None, years=year, language=language
        )
    limits = [str(one.message) for one in said if "available only from" in str(one.message)]
    if limits:
        raise RecordError(
            f"the list for {year} is not whole: it reaches{limits[0].partition('only')[2]}",
            where="-".join(filter(None, (code, subdivision))),
            do="Ask for fewer years; later ones can be copied when a newer list knows them.",
        )
    return listed


def _names(listed: HolidayBase) -> set[str]:
    """What is kept in a year, without remarks such as (estimated)."""
    return {_bare(name) for names in listed.values() for name in names.split("; ")}


def _bare(name: str) -> str:
    return name.partition(" (")[0]


def _estimate_marks(listed: HolidayBase) -> tuple[str, ...]:
    """What the list, in its language, adds to the name of a day that is an estimate."""
    labels = ("estimated_label", "observed_estimated_label")
    return tuple(
        listed.tr(getattr(listed, label)).replace("%s", "")
        for label in labels
        if hasattr(listed, label)
    )


def _holiday(code: str, region: str, on: date, names: str, marks: Sequence[str]) -> Holiday:
    """Estimated only where the whole day is, not when a holiday of a fixed day falls on it too."""
    parts = names.split("; ")
    if not all(part.endswith(tuple(marks)) for part in parts):
        return Holiday(code, region, on, names)
    for mark in marks:
        parts = [part.removesuffix(mark) for part in parts]
    return Holiday(code, region, on, "; ".join(parts), estimated=True)
