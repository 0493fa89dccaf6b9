"""Ages and dates: the conventions for months, weeks and birthdays, stated once.

Months are calendar months, clipped to the month's end and always counted from the anchor:
31 January + 1 month = 28 or 29 February, + 2 months = 31 March. A child born on 29 February has
a birthday on 28 February in common years. Completed months follow the same rule, so that
`completed_months(a, add_months(a, n)) == n` for every n >= 0. Spans are half-open.
"""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta

DAYS_PER_WEEK = 7
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
TERM_WEEKS = 40


def add_months(anchor: date, months: int) -> date:
    """The day `months` calendar months after `anchor`, clipped to the end of its month."""
    index = anchor.year * 12 + anchor.month - 1 + months
    year, month = divmod(index, 12)
    return date(year, month + 1, min(anchor.day, monthrange(year, month + 1)[1]))


def completed_months(start: date, on: date) -> int:
    """Whole calendar months from `start` to `on`; negative when `on` is earlier."""
    months = (on.year - start.year) * 12 + on.month - start.month
    return months if add_months(start, months) <= on else months - 1


def corrected_birth(date_of_birth: date, gestation_weeks: int) -> date:
    """The day a child born at `gestation_weeks` would have been born at 40 weeks."""
    return date_of_birth + timedelta(weeks=max(0, TERM_WEEKS - gestation_weeks))


@dataclass(frozen=True, slots=True)
class Step:
    """A length of time as a clinician counts it: calendar months, or days."""

    months: int = 0
    days: int = 0

    def after(self, anchor: date) -> date:
        return add_months(anchor, self.months) + timedelta(days=self.days)

    def next_after(self, anchor: date, reached: date) -> tuple[date, int]:
        """The first `anchor + n steps` later than `reached`, and that n (at least 1)."""
        if self.months:
            n = max(1, completed_months(anchor, reached) // self.months)
        else:
            n = max(1, (reached - anchor).days // self.days)
        while self.times(n).after(anchor) <= reached:
            n += 1
        return self.times(n).after(anchor), n

    def times(self, n: int) -> "Step":
        return Step(self.months * n, self.days * n)

    def __str__(self) -> str:
        unit, count = ("month", self.months) if self.months else ("day", self.days)
        if unit == "day" and count % DAYS_PER_WEEK == 0 and count:
            unit, count = "week", count // DAYS_PER_WEEK
        return f"{count} {unit}{'' if count == 1 else 's'}"
