"""A share of children with its Wilson interval, and the words where they are too few to judge."""

from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist

Z95 = NormalDist().inv_cdf(0.975)
FEWEST = 5
TOO_FEW = "too few to judge"


@dataclass(frozen=True, slots=True)
class Share:
    """`count` of `total`, as percent; of nobody there is no percentage and no interval."""

    count: int
    total: int

    @property
    def percent(self) -> float | None:
        return 100 * self.count / self.total if self.total else None

    @property
    def interval(self) -> tuple[float, float] | None:
        """95 % by Wilson 1927, in percent: it stays within 0 to 100 and holds for few children."""
        if not self.total:
            return None
        n, share, z2 = self.total, self.count / self.total, Z95**2
        middle = (share + z2 / (2 * n)) / (1 + z2 / n)
        half = Z95 / (1 + z2 / n) * sqrt(share * (1 - share) / n + z2 / (4 * n * n))
        return 100 * max(0.0, middle - half), 100 * min(1.0, middle + half)

    @property
    def caution(self) -> str:
        return caution(self.total)


def caution(number: int) -> str:
    """What to say beside a figure of so many."""
    return TOO_FEW if number < FEWEST else ""
