"""The one place where days, hours, eyes and numbers become words, in each language alike.

Each phrase is markup: a person reads its text, and a test reads its value. Digits are Western in
every language, as on the clinic's forms and on a telephone's keys.
"""

from base64 import b64encode
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, time
from typing import Any

from babel.dates import format_date, format_time, get_day_names, get_month_names
from babel.lists import format_list
from markupsafe import Markup

from rehab.care.case import Eye
from rehab.letters.languages import Language
from rehab.letters.pictures import face_svg

MINUTES_PER_HOUR = 60
DAYS_PER_WEEK = 7


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
        names = get_month_names("wide", "stand-alone", self.language.locale)
        return Markup("{} {}").format(names[on.month], on.year)

    def weekdays(self, numbers: Iterable[int]) -> str:
        """Weekdays, 0 being Monday, as a list in words."""
        names = get_day_names("wide", "stand-alone", self.language.locale)
        return str(format_list([names[n] for n in numbers], locale=self.language.locale))

    def weekday(self, number: int) -> str:
        """A weekday as short as it can be told from the others."""
        return str(get_day_names("abbreviated", "stand-alone", self.language.locale)[number])

    def clock(self, minute: int) -> Markup:
        """A time of day from minutes after midnight."""
        moment = time(*divmod(minute, MINUTES_PER_HOUR))
        text = format_time(moment, "short", locale=self.language.locale)
        return Markup('<bdi class="clock">{}</bdi>').format(text)

    def hours(self, minutes: int) -> Markup:
        """Patching hours, such as 2 hours 30 minutes; no minutes are no patch."""
        return self._dose(minutes, self._long(minutes))

    def length(self, minutes: int) -> str:
        """How long a visit takes."""
        return self._long(minutes)

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
        gettext = self.language.words.gettext
        said = []
        if hours:
            said.append(gettext("%(num)s h") % {"num": hours})
        if rest:
            said.append(gettext("%(num)s min") % {"num": rest})
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
            "Drawing of a child's face, as you see it when you look at your child. Covered: %(eye)s"
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
