"""Fixation: whether an eye's gaze is central, steady and maintained, and whether it follows."""

import re
from dataclasses import dataclass
from enum import StrEnum
from itertools import product

from rehab.errors import MeasureError
from rehab.measures.typed_text import plain, quoted


class Finding(StrEnum):
    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


class Nystagmus(StrEnum):
    NONE = "none"
    LATENT = "latent"
    MANIFEST = "manifest"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Fixation:
    """One eye's fixation; `follows` is the infant's "fixes and follows"."""

    central: Finding = Finding.UNKNOWN
    steady: Finding = Finding.UNKNOWN
    maintained: Finding = Finding.UNKNOWN
    follows: Finding = Finding.UNKNOWN

    @property
    def findings(self) -> tuple[Finding, Finding, Finding, Finding]:
        return self.central, self.steady, self.maintained, self.follows


_ASPECTS = ("central", "steady", "maintained", "follows")
_WRITTEN = (
    ("central", "not central"),
    ("steady", "unsteady"),
    ("maintained", "not maintained"),
    ("fixes and follows", "does not fix and follow"),
)
_ACCEPTED = (
    'Write "central", "steady", "maintained" or "not central", "unsteady", "not maintained", '
    'separated by commas; letters such as "CSM", "CSNM" or "UCUSUM"; "fixes and follows", '
    '"does not fix and follow"; or "unknown".'
)
_SYNONYMS = {
    "eccentric": ("central", Finding.NO),
    "not steady": ("steady", Finding.NO),
    "unmaintained": ("maintained", Finding.NO),
    "f&f": ("follows", Finding.YES),
    "f & f": ("follows", Finding.YES),
    "f+f": ("follows", Finding.YES),
    "fixes & follows": ("follows", Finding.YES),
    "fixing and following": ("follows", Finding.YES),
    "follows": ("follows", Finding.YES),
    "fixes but does not follow": ("follows", Finding.NO),
    "does not follow": ("follows", Finding.NO),
    "does not fix or follow": ("follows", Finding.NO),
    "does not fix": ("follows", Finding.NO),
    "not fixing": ("follows", Finding.NO),
}


def _vocabulary() -> dict[str, tuple[tuple[str, Finding], ...]]:
    words: dict[str, tuple[tuple[str, Finding], ...]] = {"unknown": ()}
    words |= {phrase: (said,) for phrase, said in _SYNONYMS.items()}
    for aspect, (yes, no) in zip(_ASPECTS, _WRITTEN, strict=True):
        words |= {yes: ((aspect, Finding.YES),), no: ((aspect, Finding.NO),)}
    for prefixes in product((None, "", "u", "n"), repeat=3):
        graded = [(p, a) for p, a in zip(prefixes, _ASPECTS[:3], strict=True) if p is not None]
        if graded:
            words["".join(prefix + aspect[0] for prefix, aspect in graded)] = tuple(
                (aspect, Finding.NO if prefix else Finding.YES) for prefix, aspect in graded
            )
    return words


_VOCABULARY = _vocabulary()
# The longest phrase first, so that "does not fix" never hides "does not fix and follow".
_PHRASE = re.compile(
    "("
    + "|".join(re.escape(phrase) for phrase in sorted(_VOCABULARY, key=len, reverse=True))
    + r")(?!\w)(?:[ ,;.]|and\b)*"
)


def parse_fixation(text: str) -> Fixation:
    """The fixation that `text` says; what it does not say stays unknown."""
    typed = plain(text)
    said: dict[str, Finding] = {}
    if not typed:
        raise _refusal("Nothing is written.")
    at = 0
    while at < len(typed):
        match = _PHRASE.match(typed, at)
        if match is None:
            raise _refusal(f"{quoted(typed[at:])} is not a word for fixation.")
        for aspect, finding in _VOCABULARY[match[1]]:
            if said.setdefault(aspect, finding) is not finding:
                raise _refusal(f'{quoted(text)} says both yes and no to "{aspect}".')
        at = match.end()
    return Fixation(**said)


def _refusal(what: str) -> MeasureError:
    return MeasureError(what, where="fixation", do=_ACCEPTED)


def write_fixation(fixation: Fixation) -> str:
    """The text that `parse_fixation` reads back as the same fixation."""
    said = [
        yes if finding is Finding.YES else no
        for finding, (yes, no) in zip(fixation.findings, _WRITTEN, strict=True)
        if finding is not Finding.UNKNOWN
    ]
    return ", ".join(said) or "unknown"


def fixation_change(before: Fixation, after: Fixation) -> int | None:
    """1 better, -1 worse, 0 the same; None when something was looked at only once, or when one
    aspect is better and another worse."""
    if [f is Finding.UNKNOWN for f in before.findings] != [
        f is Finding.UNKNOWN for f in after.findings
    ]:
        return None
    steps = {
        1 if now is Finding.YES else -1
        for then, now in zip(before.findings, after.findings, strict=True)
        if then is not now
    }
    if len(steps) > 1:
        return None
    return steps.pop() if steps else 0
