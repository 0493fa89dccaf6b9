"""The one place where days, hours, eyes and numbers become words, in each language alike.

Each phrase is markup: a person reads its text, and a test reads its value. Digits are Western in
every language, as on the clinic's forms and on a telephone's keys.
"""

from base64 import b64encode
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, time
from typing import Any, Literal

from babel.dates import (
    format_date,
    format_time,
    get_day_names,
    get_month_names,
    get_period_id,
    get_period_names,
)
from babel.lists import format_list
from markupsafe import Markup

from rehab.care.case import Eye
from rehab.letters.languages import Language
from rehab.letters.pictures import face_svg
from rehab.measures.dates import DAYS_PER_WEEK

# Names as they stand inside a date. What stands alone is the same in the languages of letters, but
# Babel mixes it up: one language's names then stand in another's letter
# (github.com/python-babel/babel/issues/1234).
INSIDE: Literal["format"] = "format"
MINUTES_PER_HOUR = 60
HOURS_OF_A_CLOCK = 12
# Where ten o'clock is spoken as four, a printed 10:00 alone can be heard as four in the afternoon.
# That hours are counted from six: common practice, no source; the part of the day is CLDR's.
FROM_SUNRISE = ("sw",)
SUNRISE = 6
# CLDR has none that are short; as newspapers write them: common practice, no source.
SHORT_WEEKDAYS = {"sw": ("J'tatu", "J'nne", "J'tano", "Alh.", "Ijumaa", "J'mosi", "J'pili")}


@dataclass(frozen=True)
class Phrases:
    """The phrases of one language; every public method is a name that templates know."""

    language: Language

    def day(self, on: date) -> Markup:
        """A day in full, such as Monday 23 November 2026."""
        text = format_date(on, "full", locale=self.language.locale)
        return Markup('<time datetime="{}">{}</time>').format(on.isoformat(), text)

    def month_name(self, on: date) -> Markup:
        """A month and its year."""
        names = get_month_names("wide", INSIDE, self.language.locale)
        return Markup("{} {}").format(names[on.month], on.year)

    def weekdays(self, numbers: Iterable[int]) -> str:
        """Weekdays, 0 being Monday, as a list in words."""
        names = get_day_names("wide", INSIDE, self.language.locale)
        return str(format_list([names[n] for n in numbers], locale=self.language.locale))

    def weekday(self, number: int) -> str:
        """A weekday as short as it can be told from the others."""
        names = SHORT_WEEKDAYS.get(self.language.code)
        if names:
            return names[number]
        return str(get_day_names("abbreviated", INSIDE, self.language.locale)[number])

    def clock(self, minute: int) -> Markup:
        """A time of day from minutes after midnight."""
        moment = time(*divmod(minute, MINUTES_PER_HOUR))
        text = format_time(moment, "short", locale=self.language.locale)
        if self.language.code in FROM_SUNRISE:
            text = f"{text} {self._from_sunrise(moment)}"
        return Markup('<bdi class="clock">{}</bdi>').format(text)

    def _from_sunrise(self, moment: time) -> str:
        """The same time as it is spoken: the part of the day and the hour counted from six."""
        locale = self.language.locale
        names = get_period_names("wide", INSIDE, locale)
        period = names[get_period_id(moment, type="selection", locale=locale)]
        hour = (moment.hour - SUNRISE) % HOURS_OF_A_CLOCK or HOURS_OF_A_CLOCK
        return f"{period} (saa {hour}:{moment.minute:02})"

    def hours(self, minutes: int) -> Markup:
        """Patching hours, such as 2 hours 30 minutes; no minutes are no patch."""
        return self._dose(minutes, self._long(minutes))

    def length(self, minutes: int) -> str:
        """How long a visit takes."""
        return self._long(minutes)

    def dose(self, minutes: int, days_per_week: int) -> Markup:
        """The hours of one day and on how many days, so that nobody takes them for a week's."""
        time = Markup("<b>{}</b>").format(self.hours(minutes))
        if minutes == 0:
            return time
        often = self.how_often(days_per_week)
        if days_per_week == DAYS_PER_WEEK:
            return Markup("{} {}").format(time, often)
        said = Markup(self.language.words.gettext("%(time)s a day, %(days)s"))
        return said % {"time": time, "days": often}

    def short_hours(self, minutes: int) -> Markup:
        """As `hours`, for a calendar's narrow cell: 2 h 30 min."""
        return self._dose(minutes, self._short(minutes))

    def _dose(self, minutes: int, text: str) -> Markup:
        if minutes == 0:
            text = self.language.words.gettext("no patch")
        return Markup('<span class="dose m{}">{}</span>').format(minutes, text)

    def _long(self, minutes: int) -> str:
        hours, rest = divmod(minutes, MINUTES_PER_HOUR)
        ngettext = self.language.words.ngettext
        said = []
        if hours:
            said.append(ngettext("%(num)s hour", "%(num)s hours", hours) % {"num": hours})
        if rest:
            said.append(ngettext("%(num)s minute", "%(num)s minutes", rest) % {"num": rest})
        return " ".join(said)

    def _short(self, minutes: int) -> str:
        hours, rest = divmod(minutes, MINUTES_PER_HOUR)
        words = self.language.words
        said = []
        if hours:
            said.append(words.ngettext("%(num)s h", "%(num)s h", hours) % {"num": hours})
        if rest:
            said.append(words.gettext("%(num)s min") % {"num": rest})
        return " ".join(said)

    def how_often(self, days_per_week: int) -> str:
        """On how many days of a week."""
        if days_per_week == DAYS_PER_WEEK:
            return self.language.words.gettext("every day")
        text = self.language.words.ngettext(
            "on %(num)s day of each week", "on %(num)s days of each week", days_per_week
        )
        return text % {"num": days_per_week}

    def eye(self, eye: str) -> Markup:
        """The child's own right or left eye, as a phrase that stands alone."""
        side = Eye(eye)
        return Markup('<b class="eye {}">{}</b>').format(side.value, self._eye(side))

    def eyes(self, eyes: Sequence[Eye]) -> Markup:
        """One eye or both."""
        if len(eyes) == 1:
            return self.eye(eyes[0])
        both = self.language.words.gettext("both eyes")
        return Markup('<b class="eye right left">{}</b>').format(both)

    def _eye(self, eye: Eye) -> str:
        gettext = self.language.words.gettext
        return gettext("right eye") if eye is Eye.RIGHT else gettext("left eye")

    def phone(self, text: str) -> Markup:
        """A telephone number, which runs from left to right in every script."""
        return Markup('<bdi dir="ltr" class="number">{}</bdi>').format(text)

    def name(self, text: str) -> Markup:
        """A name, an address or other text of people, in whatever direction it runs."""
        return Markup("<bdi>{}</bdi>").format(text)

    def face(self, covered: Eye) -> Markup:
        """A face as seen by someone who looks at the child, with one eye covered, and its words."""
        covers = self.language.words.gettext(
            "Drawing of a child's face, as seen by someone who looks at the child. Covered: %(eye)s"
        )
        return self._image("face", face_svg(covered), covers % {"eye": self._eye(covered)})

    def picture(self, kind: str, svg: str, means: str) -> Markup:
        """Any other picture, with what it means in words."""
        return self._image(kind, svg, means)

    def _image(self, kind: str, svg: str, means: str) -> Markup:
        return Markup('<img class="{}" src="data:image/svg+xml;base64,{}" alt="{}"/>').format(
            kind, b64encode(svg.encode()).decode(), means
        )


def phrase_names(phrases: Phrases) -> dict[str, Any]:
    """The phrases as names for templates."""
    return {name: getattr(phrases, name) for name in dir(phrases) if not name.startswith("_")}
