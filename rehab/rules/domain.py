"""What an input or output of a table may be: whole numbers in a range, words, or both."""

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass

from rehab.errors import TableError

Value = int | str


@dataclass(frozen=True, slots=True)
class Domain:
    """Whole numbers from `start` to below `below` (absent when both are None), and `words`."""

    start: int | None
    below: int | None
    words: tuple[str, ...] = ()

    def __contains__(self, value: object) -> bool:
        if isinstance(value, str):
            return value in self.words
        if isinstance(value, bool) or not isinstance(value, int):
            return False
        if self.start is None or self.below is None:
            return False
        return self.start <= value < self.below

    def __str__(self) -> str:
        numbers = [] if self.start is None else [f"{self.start} to below {self.below}"]
        return ", ".join([*numbers, *self.words])


@dataclass(frozen=True, slots=True)
class Condition:
    """What a row asks of one input: numbers from `start` to below `below`, or these words."""

    start: int | None = None
    below: int | None = None
    words: tuple[str, ...] = ()

    def __str__(self) -> str:
        return str(Domain(self.start, self.below, self.words))


@dataclass(frozen=True, slots=True)
class Pieces:
    """A domain cut at every bound of any row: within a piece no row can tell values apart."""

    cuts: tuple[int, ...]
    below: int
    words: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.cuts) + len(self.words)

    def index(self, value: Value) -> int:
        if isinstance(value, str):
            return len(self.cuts) + self.words.index(value)
        return bisect_right(self.cuts, value) - 1

    def matching(self, condition: Condition | None) -> tuple[int, ...]:
        if condition is None:
            return tuple(range(len(self)))
        start, below = condition.start, condition.below
        numbers = (
            [i for i, cut in enumerate(self.cuts) if start <= cut < below]
            if start is not None and below is not None
            else []
        )
        return (*numbers, *(self.index(word) for word in condition.words))

    def describe(self, indexes: Iterable[int]) -> str:
        """Pieces in words; neighbours are joined, and every value is said once."""
        runs: list[list[int]] = []
        words = []
        for index in sorted(indexes):
            if index >= len(self.cuts):
                words.append(self.words[index - len(self.cuts)])
            elif runs and index == runs[-1][-1] + 1:
                runs[-1].append(index)
            else:
                runs.append([index])
        ends = (*self.cuts[1:], self.below)
        spans = [(self.cuts[run[0]], ends[run[-1]]) for run in runs]
        numbers = [
            str(start) if below == start + 1 else f"{start} to below {below}"
            for start, below in spans
        ]
        return " or ".join([*numbers, *words])


def cut(domain: Domain, conditions: tuple[Condition, ...]) -> Pieces:
    """Cut `domain` at the bounds of `conditions`; raises TableError for a bound outside it."""
    if domain.start is None or domain.below is None:
        return Pieces((), 0, domain.words)
    cuts = {domain.start}
    for condition in conditions:
        for bound in (condition.start, condition.below):
            if bound is not None and bound != domain.below:
                cuts.add(bound)
    outside = [bound for bound in cuts if not domain.start <= bound < domain.below]
    if outside:
        raise TableError(f"the bound {outside[0]} lies outside the domain {domain}.")
    return Pieces(tuple(sorted(cuts)), domain.below, domain.words)
