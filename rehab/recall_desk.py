"""The recall list of the whole clinic: read where it was worked out already, else worked out."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from rehab.care.recall import Recall, contact_counts, from_content
from rehab.recall_text import block, heading
from rehab.store.store import Store
from rehab.workflow import Desk, recall

Counts = tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class StoredList:
    """As it was kept with each child's last plan: `refresh` brings that up to date first."""

    store: Store

    def counts(self) -> Counts:
        """How many families stand under each heading, in order."""
        return self.store.recall_counts()

    def blocks(self, first: int | None) -> Iterator[tuple[str, str]]:
        """The first families as they are printed: heading and lines."""
        return self.store.recall_blocks(first)

    def families(self, first: int | None) -> Iterator[Recall]:
        return map(from_content, self.store.recall_contents(first))


@dataclass(frozen=True, slots=True)
class ListForAnotherDay:
    """Worked out for one look ahead that a person asked for, and kept nowhere."""

    lines: Sequence[Recall]
    today: date

    def counts(self) -> Counts:
        return contact_counts(self.lines)

    def blocks(self, first: int | None) -> Iterable[tuple[str, str]]:
        return ((heading(line), block(line, self.today)) for line in self.lines[:first])

    def families(self, first: int | None) -> Iterable[Recall]:
        return self.lines[:first]


def list_for_another_day(desk: Desk, *, today: date, by: date) -> ListForAnotherDay:
    """Looks ahead to windows that close by another day than the one that is kept."""
    return ListForAnotherDay(recall(desk, today=today, by=by), today)
