"""A letter: its facts in the words of one language, and in English beside a new translation."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from rehab.care.case import EndingKind
from rehab.errors import LetterError
from rehab.letters.facts import LetterFacts
from rehab.letters.languages import Language
from rehab.letters.sandbox import render_letter
from rehab.letters.tree import Node, tree

KINDS = (
    "family",
    "changes",
    "appointment",
    "diary",
    "not-brought",
    "school",
    "clinician",
    "transfer",
    "transition",
)
# The one letter that may be written about a child who died.
OF_THE_COURSE = "clinician"
# Preparing for adult care begins at 12 to 14: Got Transition, Six Core Elements (from memory).
TRANSITION_FROM_MONTHS = 12 * 12
# Letters that have nothing to say about a child for whom nothing is planned.
OF_THE_PLAN = ("changes", "family", "not-brought", "school")
# Letters to people who need not know the clinic's number of the child.
WITHOUT_NUMBER = ("school",)


@dataclass(frozen=True, slots=True)
class Words:
    """A letter in one language: its body as it was rendered, and as a tree to be set on paper.

    `notices` stand on each of its pages, as (language, text).
    """

    language: Language
    title: str
    body: str
    tree: Node
    notices: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Letter:
    """One letter of a kind; after a translation that nobody has reviewed comes the original."""

    kind: str
    facts: LetterFacts
    words: tuple[Words, ...]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What must be there for a kind of letter; what is said and what to do where it is not."""

    there: Callable[[LetterFacts], bool]
    otherwise: str
    do: str


WANTED = {
    "changes": Wanted(
        lambda facts: facts.changes is None or facts.changes.any,
        "nothing has changed since the last letter to the family.",
        "No letter is needed, or write a family letter.",
    ),
    "appointment": Wanted(
        lambda facts: any(trip.booked for trip in facts.home.trips),
        "no visit is booked.",
        "Book one, or write a family letter.",
    ),
    "diary": Wanted(
        lambda facts: any(day.hours and day.hours.minutes_per_day for day in facts.diary),
        "no patching hours are agreed for the next two weeks.",
        "Record what was agreed, or write a family letter.",
    ),
    "transition": Wanted(
        lambda facts: facts.age_months >= TRANSITION_FROM_MONTHS,
        "the child is too young for adult care: younger than 12.",
        "For another clinic write the transfer letter.",
    ),
    "not-brought": Wanted(
        lambda facts: facts.not_brought_on is not None,
        "the child was not awaited in vain, or was seen since.",
        "Record what became of the visit, or write a family letter.",
    ),
}


def write_letter(
    kind: str,
    facts: LetterFacts,
    language: Language,
    english: Language,
    *,
    reviewed: frozenset[str] = frozenset(),
    own: Path | None = None,
) -> Letter:
    """The letter in `language`. `reviewed` are the digests of the words that the clinic recorded
    as reviewed; `own` is the folder of the clinic's own templates.

    Raises LetterError when it must not be sent, or when its template fails.
    """
    _know(kind, own)
    _refuse(kind, facts)
    told = _words(kind, facts, language, own)
    if not language.needs_review(reviewed):
        return Letter(kind, facts, (told,))
    notices = tuple((tongue.code, not_reviewed(tongue)) for tongue in (language, english))
    original = _words(kind, facts, english, own)
    return Letter(kind, facts, (replace(told, notices=notices), original))


def _know(kind: str, own: Path | None) -> None:
    if kind not in KINDS and not (own and (own / f"{kind}.html").is_file()):
        raise LetterError(
            f"there is no letter {kind!r}.",
            where="letters",
            do=f"Choose {', '.join(KINDS)}, or write the template {kind}.html of the clinic's own.",
        )


def _refuse(kind: str, facts: LetterFacts) -> None:
    if not facts.clinic.phone.strip():
        raise LetterError(
            "the clinic has no telephone number, and a family must be able to ring.",
            where=f"{kind} letter",
            do="Set phone in the clinic file.",
        )
    ending = facts.clinical.ending
    if kind != OF_THE_COURSE and ending and ending.kind is EndingKind.DIED:
        raise LetterError(
            "this child has died.",
            where=f"{kind} letter of child {facts.child.number}",
            do="Nobody is written to as before. For the course write the clinician letter.",
        )
    if kind == "changes" and facts.changes is None:
        raise LetterError(
            "no letter that told the family its plan is in the log.",
            where=f"{kind} letter of child {facts.child.number}",
            do="Write a family letter.",
        )
    if kind in OF_THE_PLAN and not facts.planned:
        raise LetterError(
            "nothing is planned: care here has ended, or no facts are recorded.",
            where=f"{kind} letter of child {facts.child.number}",
            do="Write to the family by hand.",
        )

    wanted = WANTED.get(kind)
    if wanted and not wanted.there(facts):
        raise LetterError(
            wanted.otherwise,
            where=f"{kind} letter of child {facts.child.number}",
            do=wanted.do,
        )


def not_reviewed(language: Language) -> str:
    """What each page says of a translation that nobody has reviewed."""
    return language.words.gettext(
        "This translation has not been checked by a qualified person. "
        "The English letter is attached. Please ring us if they differ."
    )


def out_of_date(language: Language) -> str:
    """What each page says of a letter from an older plan."""
    return language.words.gettext(
        "This is an old letter. The plan has changed since. Please ring us for the new one."
    )


def _words(kind: str, facts: LetterFacts, language: Language, own: Path | None) -> Words:
    title, body = render_letter(language, own, f"letters/{kind}.html", letter=facts)
    return Words(language, title, body, tree(body, f"letter {kind} in {language.code}"))
