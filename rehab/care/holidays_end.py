"""Where the public holidays that a clinic has recorded end, site by site."""

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta

from rehab.care.diary import Diary, Site


@dataclass(frozen=True, slots=True)
class HolidaysEnd:
    """From `start` on, no list of public holidays is recorded for the site."""

    site: str
    start: date
    sentence: str


def holidays_end(diary: Diary, today: date, by: date) -> tuple[HolidaysEnd, ...]:
    """The sites whose recorded holidays do not reach from the year of `today` to before `by`.

    A year with fewer than half as many as the fullest year is a few entries, not a list. A site
    that names no country keeps no public holidays.
    """
    found: list[HolidaysEnd] = []
    for site in diary.sites:
        missing = _missing_years(diary, site, today.year, (by - timedelta(days=1)).year)
        if site.country and missing:
            found.append(
                HolidaysEnd(site.code, date(missing[0], 1, 1), _sentence(site, missing, by))
            )
    return tuple(found)


def _missing_years(diary: Diary, site: Site, first: int, last: int) -> list[int]:
    counted = Counter(
        holiday.on.year
        for holiday in diary.holidays
        if holiday.country == site.country and holiday.region in ("", site.region)
    )
    fullest = max(counted.values(), default=0)
    return [y for y in range(first, last + 1) if not counted[y] or counted[y] * 2 < fullest]


def _sentence(site: Site, missing: list[int], by: date) -> str:
    place = "-".join(filter(None, (site.country, site.region)))
    asked = f"{missing[0]}-{missing[-1]}" if len(missing) > 1 else str(missing[0])
    in_a_row = missing[-1] - missing[0] + 1 == len(missing)
    years = asked if in_a_row else ", ".join(map(str, missing))
    region = f" --region {site.region!r}" if " " in site.region else f" --region {site.region}"
    return (
        f"No list of the public holidays of {place} is recorded for {years}, and plans look ahead "
        f"to {by}: visits may be put on holidays at site {site.code}. Copy it with: rehab diary "
        f"holidays copy --country {site.country}{region if site.region else ''} "
        f"--years {asked}"
    )
