"""The sandbox in which the templates of letters run, the program's and a clinic's own alike."""

import traceback
from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import ChoiceLoader, Environment, FileSystemLoader, PrefixLoader, TemplateSyntaxError
from jinja2.environment import TemplateModule
from jinja2.exceptions import TemplateNotFound
from jinja2.sandbox import ImmutableSandboxedEnvironment
from markupsafe import Markup

from rehab.errors import LetterError
from rehab.letters.languages import Language
from rehab.letters.phrases import Phrases, phrase_names
from rehab.letters.render import OPTIONS
from rehab.shipped_files import shipped


@lru_cache(maxsize=16)
def letter_environment(language: Language, own: Path | None) -> Environment:
    """A sandbox for the letters of one language, with that language's words.

    A template in the clinic's own folder of letters takes the place of ours.
    """
    made = ImmutableSandboxedEnvironment(
        loader=_loader(own),
        autoescape=True,
        extensions=["jinja2.ext.i18n"],
        **OPTIONS,
    )
    words = language.words
    made.globals.update(phrase_names(Phrases(language)))
    made.install_gettext_callables(words.gettext, words.ngettext, newstyle=True)  # type: ignore[attr-defined]
    return made


def _loader(own: Path | None) -> ChoiceLoader:
    """No template can read what lies beside the clinic's folder of letters: its settings, say."""
    ours = FileSystemLoader(shipped("templates"))
    return ChoiceLoader(
        [*([PrefixLoader({"letters": FileSystemLoader(own)})] if own else []), ours]
    )


def render_letter(
    language: Language, own: Path | None, template: str, **known: Any
) -> tuple[str, str]:
    """The title and the body of a letter; raises LetterError with the template's file and line."""
    try:
        made = _made(letter_environment(language, own), template, known)
        return Markup(made.title).striptags(), str(made)  # type: ignore[attr-defined]
    except LetterError:
        raise
    except TemplateNotFound as error:
        raise LetterError(
            f"there is no template {error.name}.",
            where="letters",
            do="Write it, or choose another.",
        ) from error
    except Exception as error:  # A clinic's own template may raise anything.
        raise LetterError(
            f"this template cannot be used ({error}).", where=_place(error), do="Correct it."
        ) from error


def _made(environment: Environment, template: str, known: dict[str, Any]) -> TemplateModule:
    try:
        return environment.get_template(template).make_module(known)
    except Exception:
        # Gives the error the lines of the templates in place of those they were compiled to.
        environment.handle_exception()


def _place(error: Exception) -> str:
    """The file and line of the template that failed, as far as an error tells."""
    if isinstance(error, TemplateSyntaxError):
        return f"{error.filename or error.name}:{error.lineno}"
    frames = traceback.extract_tb(error.__traceback__)
    inside = [f for f in frames if f.filename.endswith((".html", ".svg", ".txt"))]
    return f"{inside[-1].filename}:{inside[-1].lineno}" if inside else "letters"
