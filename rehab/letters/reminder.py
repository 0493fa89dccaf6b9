"""The words of a reminder in the family's language, from one template for each language."""

import re
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from jinja2 import TemplateError

from rehab.errors import LetterError
from rehab.letters.render import plain_environment

FALLBACK = "en"
MONTHS = 12
LANGUAGE = re.compile(r"[a-z]{2,8}(-[a-z0-9]{1,8})*")


@dataclass(frozen=True, slots=True)
class ToTell:
    """What a reminder tells. `first_name` is "" where a family cannot mistake which child it is;
    `time` is "" for an appointment without an hour."""

    on: date
    time: str
    place: str
    clinic: str
    phone: str
    first_name: str = ""


@dataclass(frozen=True, slots=True)
class Told:
    """The words of a reminder, and those of the calendar file that goes with it."""

    subject: str
    text_message: str
    email: str
    title: str
    cannot_come: str
    months: tuple[str, ...]


def tell(to: ToTell, language: str, own: Path) -> Told:
    """The reminder in the family's language, or in English where there is no template for it.

    The clinic's own templates lie in the folder reminder of the folder `own`.
    """
    if not to.phone:
        raise LetterError(
            "the clinic has no telephone number, and a family must be able to ring.",
            where="reminder",
            do="Set phone in the clinic file.",
        )
    try:
        words = plain_environment(own).select_template(_names(language)).module
        told = Told(
            subject=_one_line(words.subject(to)),  # type: ignore[attr-defined]
            text_message=_one_line(words.text_message(to)),  # type: ignore[attr-defined]
            email=f"{str(words.email(to)).strip()}\n",  # type: ignore[attr-defined]
            title=words.title,  # type: ignore[attr-defined]
            cannot_come=words.cannot_come,  # type: ignore[attr-defined]
            months=tuple(words.months),  # type: ignore[attr-defined]
        )
        # A name in braces that nothing fills is found here, before anything is written with it.
        f"{told.title}{told.cannot_come}".format(clinic="")
        if len(told.months) != MONTHS:
            raise ValueError("it must name twelve months")
    except (TemplateError, AttributeError, LookupError, TypeError, ValueError) as error:
        raise LetterError(
            f"this template cannot be used ({error}).",
            where=f"reminder in {language}",
            do="Correct it: it must hold what the English one does.",
        ) from error
    return told


def has_words_in(language: str, own: Path) -> bool:
    """Whether there is a template for a language, and not only the English one in its place."""
    known = set(plain_environment(own).list_templates())
    return any(name in known for name in _names(language)[:-1])


def _names(language: str) -> tuple[str, ...]:
    """The templates to try in turn, such as those of pt-br, pt and English."""
    code = _code(language)
    parts = code.split("-") if LANGUAGE.fullmatch(code) else []
    codes = (*("-".join(parts[:n]) for n in range(len(parts), 0, -1)), FALLBACK)
    return tuple(f"reminder/{one}.txt" for one in codes)


def _code(language: str) -> str:
    return language.strip().lower().replace("_", "-")


def _one_line(text: object) -> str:
    return " ".join(str(text).split())
