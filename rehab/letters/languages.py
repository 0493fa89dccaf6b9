"""The languages of letters: gettext catalogues, how each is written, and what was reviewed."""

import hashlib
import re
from dataclasses import dataclass
from functools import lru_cache
from gettext import GNUTranslations, NullTranslations
from io import BytesIO
from pathlib import Path

from babel import Locale, UnknownLocaleError
from babel.messages.catalog import Catalog, Message
from babel.messages.mofile import write_mo
from babel.messages.pofile import PoFileError, read_po

from rehab.errors import LetterError
from rehab.settings import LETTER_LANGUAGES
from rehab.shipped_files import shipped

SOURCE = "en"
PLACEHOLDER = re.compile(r"%\(\w+\)s")
# What the drawing, the calendar and the plan say too: nobody may word these otherwise alone.
CLINICAL = frozenset({
    "right eye", "left eye", "both eyes", "covered", "no patch", "every day", "%(num)s hour",
    "%(num)s h", "%(num)s minute", "%(num)s min", "on %(num)s day of each week",
    "%(time)s a day, %(days)s",
})  # fmt: skip
# English without a country writes the day before the month, as most of the world does.
USUAL_COUNTRY = {"en": "GB"}


class _Untranslated(NullTranslations):
    """What no catalogue has must not reach a family half in one language, half in another."""

    def __init__(self, language: str) -> None:
        super().__init__()
        self._language = language

    def gettext(self, message: str) -> str:
        raise LetterError(
            f"no translation of {message!r}.",
            where=f"words in {self._language}",
            do=f"Add it to languages/{self._language}.po in the clinic's folder of letters.",
        )

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return self.gettext(msgid1)


@dataclass(frozen=True, slots=True)
class Language:
    """One language as letters use it; `digest` names its words, so that a review is of these."""

    code: str
    locale: Locale
    words: NullTranslations
    digest: str

    @property
    def rtl(self) -> bool:
        return self.locale.text_direction == "rtl"

    @property
    def english_name(self) -> str:
        return Locale(self.code).get_display_name(SOURCE) or self.code

    def needs_review(self, reviewed: frozenset[str]) -> bool:
        """Whether no review that a clinic recorded is of these very words."""
        return self.code != SOURCE and self.digest not in reviewed


def code_of(language: str, own: Path | None = None) -> str | None:
    """The letter language for a language as recorded, such as pt for pt-BR; None where there are
    no words in it."""
    code = language.strip().lower().replace("_", "-").partition("-")[0]
    known = code in LETTER_LANGUAGES and (code == SOURCE or _files(code, own))
    return code if known else None


def _files(code: str, own: Path | None) -> list[Path]:
    places = [shipped("templates") / "languages", *([own / "languages"] if own else [])]
    return [path for path in (place / f"{code}.po" for place in places) if path.is_file()]


@lru_cache(maxsize=32)
def language(code: str, country: str = "", own: Path | None = None) -> Language:
    """A language with the program's words, and the clinic's own from `own`/languages over them."""
    if code == SOURCE:
        return Language(code, _locale(code, country), NullTranslations(), "")
    # A catalogue keeps the first translation of a message, and the clinic's own comes last.
    said = {
        (message.context, str(message.id)): message
        for path in _files(code, own)
        for message in _said(path, code)
    }
    catalogue = Catalog(locale=code)
    for message in said.values():
        catalogue[message.id] = message
    compiled = BytesIO()
    write_mo(compiled, catalogue)
    compiled.seek(0)
    words = GNUTranslations(compiled)
    words.add_fallback(_Untranslated(code))
    return Language(code, _locale(code, country), words, _digest(catalogue))


def _said(path: Path, code: str) -> list[Message]:
    """The translated messages of a file; those of the clinic's own must keep what letters mean."""
    catalogue = read_catalogue(path, code)
    said = [m for m in catalogue if m.id and m.string and not m.fuzzy]
    if path.parent == shipped("templates") / "languages":
        return said
    for message in said:
        asked = message.id if isinstance(message.id, str) else message.id[0]
        forms = (message.string,) if isinstance(message.string, str) else message.string or ()
        if asked in CLINICAL:
            raise LetterError(
                f"{asked!r} says an eye or an hour and stays as the program has it.",
                where=f"{path}:{message.lineno}",
                do="Take it out of the catalogue.",
            )
        wanted = sorted(PLACEHOLDER.findall(asked))
        if any(sorted(PLACEHOLDER.findall(form)) != wanted for form in forms):
            raise LetterError(
                f"the translation of {asked!r} leaves out or adds one of its %(...)s.",
                where=f"{path}:{message.lineno}",
                do="Keep each of them, once.",
            )
    return said


def first_weekday(country: str) -> int:
    """The day on which a country's weeks begin, 0 for Monday; Monday where that is not known."""
    try:
        return Locale.parse(f"und_{country}").first_week_day if country else 0
    except (UnknownLocaleError, ValueError):
        return 0


def read_catalogue(path: Path, code: str) -> Catalog:
    """A catalogue from a file; raises LetterError that names the file and the line."""
    try:
        with path.open("rb") as file:
            return read_po(file, locale=code, abort_invalid=True)
    except PoFileError as error:
        raise LetterError(
            f"{error}.", where=f"{path}:{(error.lineno or 0) + 1}", do="Correct the catalogue."
        ) from error
    except (LookupError, OSError, ValueError) as error:
        raise LetterError(f"{error}.", where=str(path), do="Correct the catalogue.") from error


def _locale(code: str, country: str) -> Locale:
    try:
        return Locale.parse(f"{code}_{country or USUAL_COUNTRY[code]}")
    except (KeyError, UnknownLocaleError, ValueError):
        return Locale.parse(f"{code}_{USUAL_COUNTRY[code]}" if code in USUAL_COUNTRY else code)


def _digest(catalogue: Catalog) -> str:
    said = sorted(f"{m.context}\0{m.id}\0{m.string}" for m in catalogue if m.id)
    return hashlib.sha256("\n".join((str(catalogue.locale), *said)).encode()).hexdigest()[:16]
