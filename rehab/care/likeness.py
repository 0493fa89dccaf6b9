"""Children who may be one child under two numbers: same day of birth, and a like name or phone.

How alike two names must be is our own assumption: common practice, no source.
"""

import unicodedata
from array import array
from dataclasses import dataclass, field
from datetime import date
from difflib import SequenceMatcher

from rehab.care.case import Child

LEAST_RATIO = 0.85
# Two texts of ratio r and lengths a, b leave (1 - r)(a + b) letters unmatched, and b is at most
# a(2 - r)/r; so no more letters than this share of a can be in one text only.
_MOST_APART = (1 - LEAST_RATIO) * (1 + (2 - LEAST_RATIO) / LEAST_RATIO)
_FEWEST_DIGITS = 5


def plain_name(name: str) -> str:
    """A name without accents, case, signs or order of its parts."""
    letters = unicodedata.normalize("NFKD", name).casefold()
    kept = "".join(
        c if c.isalnum() else " " for c in letters if not unicodedata.combining(c) and c != "'"
    )
    return " ".join(sorted(kept.split()))


def alike(one: str, other: str) -> bool:
    """Whether two plain names may be one name, written twice."""
    return _close(SequenceMatcher(None, other, one, autojunk=False))


def _close(matcher: "SequenceMatcher[str]") -> bool:
    return (
        matcher.real_quick_ratio() >= LEAST_RATIO
        and matcher.quick_ratio() >= LEAST_RATIO
        and matcher.ratio() >= LEAST_RATIO
    )


@dataclass(slots=True)
class _BornOnOneDay:
    """Side by side, one place for each child: a million of them must fit into memory."""

    numbers: list[str] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    families: list[str] = field(default_factory=list)
    letters: "array[int]" = field(default_factory=lambda: array("Q"))
    phones: "array[int]" = field(default_factory=lambda: array("Q"))


@dataclass(slots=True)
class Likenesses:
    """The children seen so far, by day of birth."""

    _days: dict[date, _BornOnOneDay] = field(default_factory=dict)

    def add(self, child: Child, phone: str = "") -> None:
        """`phone` is a number that reaches the family where the child's own record has none."""
        day = self._days.setdefault(child.date_of_birth, _BornOnOneDay())
        name = plain_name(child.name)
        day.numbers.append(child.number)
        day.names.append(name)
        day.families.append(child.family)
        day.letters.append(_letters(name))
        day.phones.append(_digits(child.phone or phone))

    def like(self, child: Child, phone: str = "") -> tuple[tuple[str, str], ...]:
        """The numbers of those who may be `child`, each with what they have in common.

        Twins share a day of birth and a phone: where both name the same family, the phone says
        nothing.
        """
        day = self._days.get(child.date_of_birth)
        if day is None:
            return ()
        name, digits = plain_name(child.name), _digits(child.phone or phone)
        letters, most_apart = _letters(name), _MOST_APART * len(name)
        # What it works out of its second text it keeps for every first one.
        matcher = SequenceMatcher(None, "", name, autojunk=False)
        found: dict[int, str] = {}
        for n, other in enumerate(day.letters):
            if (other ^ letters).bit_count() <= most_apart:
                matcher.set_seq1(day.names[n])
                if _close(matcher):
                    found[n] = "a like name"
        if digits and digits in day.phones:
            for n, other in enumerate(day.phones):
                if other == digits and not (child.family and child.family == day.families[n]):
                    found.setdefault(n, "the same phone")
        return tuple(
            (day.numbers[n], why) for n, why in found.items() if day.numbers[n] != child.number
        )


def _letters(name: str) -> int:
    """Two bits for each letter: whether it is there, and whether it is there again."""
    bits = 0
    for letter in name:
        once = 1 << ord(letter) % 32 * 2
        bits |= once << 1 if bits & once else once
    return bits


def _digits(phone: str) -> int:
    digits = "".join(c for c in phone if c in "0123456789").lstrip("0")
    return int(digits[-18:]) if len(digits) >= _FEWEST_DIGITS else 0
