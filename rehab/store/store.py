"""The clinic's records: few verbs, each write whole or not at all, nothing clinical overwritten."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date

from sqlalchemy import Connection, Engine, select
from sqlalchemy.exc import IntegrityError

from rehab.care.case import Appointment, Case, Child
from rehab.care.changes import Entry
from rehab.care.diary import Diary
from rehab.care.letter_log import LetterMade
from rehab.care.proposals import KeptProposal
from rehab.care.translations import TranslationReview
from rehab.care.wear import WearDay
from rehab.errors import RecordError
from rehab.store import schema
from rehab.store.database import create_or_upgrade, open_engine
from rehab.store.letter_log import read_last_letters, read_letter, read_letters
from rehab.store.published import Booked, Published, read_appointments, read_published
from rehab.store.reading import (
    ByBytes,
    is_current,
    read_booked,
    read_case,
    read_cases,
    read_diary,
    read_entries,
    read_entries_of,
    read_expected,
    read_history_in_diary,
    read_latest,
    read_proposals,
    read_translation_reviews,
    read_versions,
    read_wear,
)
from rehab.store.recall_lines import (
    MadeWith,
    read_blocks,
    read_contents,
    read_counts,
    read_out_of_date,
    read_revisions,
)
from rehab.store.refusals import is_double, place_of, plain_words, said_by
from rehab.store.transaction import Transaction
from rehab.store.versions import DIARY, KINDS, Record, Stamp, Version, not_recorded

__all__ = [
    "Record",
    "Stamp",
    "Store",
    "Transaction",
    "Version",
    "create_or_upgrade",
    "open_store",
]

CHILDREN_AT_ONCE = 200
Entries = dict[str, tuple[Entry, ...]]


@dataclass(frozen=True, slots=True)
class Store:
    """The records of one clinic. Every read sees one moment; every write is a transaction."""

    engine: Engine

    @contextmanager
    def transaction(self) -> Iterator[Transaction]:
        """Writers take turns: what one reads inside its transaction no other changes meanwhile."""
        with plain_words(self.engine.url) as progress:
            try:
                with (
                    self.engine.connect().execution_options(writes=True) as connection,
                    connection.begin(),
                ):
                    yield Transaction(connection)
                    progress.finishing = True
            except IntegrityError as error:
                if not is_double(error):
                    raise
                raise RecordError(
                    f"this was changed by someone else at the same moment ({said_by(error)}).",
                    where=place_of(self.engine.url),
                    do="Nothing was written. Look at it again, then repeat your change.",
                ) from error

    def children(self) -> tuple[Child, ...]:
        table = schema.child
        with self._reading() as connection:
            versions = read_versions(connection, KINDS[Child], is_current(table))
        return tuple(v.record for v in versions if isinstance(v.record, Child))

    def numbers(self) -> tuple[str, ...]:
        """The numbers of all children, in order."""
        table = schema.child
        query = select(table.c.key).where(is_current(table)).order_by(ByBytes(table.c.key))
        with self._reading() as connection:
            return tuple(connection.scalars(query))

    def case(self, number: str) -> Case:
        with self._reading() as connection:
            return read_case(connection, number)

    def cases(self, numbers: Iterable[str] | None = None) -> Iterator[Case]:
        """Cases in the order of `numbers`, or all in order of number, read many at a time."""
        wanted = self.numbers() if numbers is None else list(numbers)
        for start in range(0, len(wanted), CHILDREN_AT_ONCE):
            batch = wanted[start : start + CHILDREN_AT_ONCE]
            with self._reading() as connection:
                found = read_cases(connection, batch)
            for number in batch:
                if number in found:
                    yield found[number]
                elif numbers is not None:
                    raise not_recorded(number)

    def diary(self) -> Diary:
        """The clinic's diary as it is now."""
        with self._reading() as connection:
            return read_diary(connection)

    def booked(self, start: date, until: date) -> tuple[tuple[str, Appointment], ...]:
        """What takes up room in the sessions from `start` to before `until`, with whose it is."""
        with self._reading() as connection:
            return read_booked(connection, start, until)

    def expected(self, start: date) -> tuple[tuple[str, Appointment], ...]:
        """What is still booked from `start` on, in a session or not, with whose it is."""
        with self._reading() as connection:
            return read_expected(connection, start)

    def history_in_diary(self, key: str) -> tuple[Version, ...]:
        """Every version of a site, session pattern, closure or holiday, oldest first."""
        with self._reading() as connection:
            versions = read_history_in_diary(connection, key)
        if not versions:
            raise not_recorded(key)
        return versions

    def appointments_from(self, first: date) -> tuple[Booked, ...]:
        """The appointments of all children from `first` on in order of time, cancelled too."""
        with self._reading() as connection:
            return read_appointments(connection, first)

    def published(self, calendar: str) -> dict[str, Published]:
        """By uid, what was last published to a calendar."""
        with self._reading() as connection:
            return read_published(connection, calendar)

    def proposals(self, number: str) -> tuple[KeptProposal, ...]:
        with self._reading() as connection:
            return read_proposals(connection, number)

    def wear(self, number: str) -> tuple[WearDay, ...]:
        with self._reading() as connection:
            return read_wear(connection, number)

    def translation_reviews(self) -> tuple[TranslationReview, ...]:
        """Which words qualified people have reviewed, in order of day."""
        with self._reading() as connection:
            return read_translation_reviews(connection)

    def letters_made(
        self, child_number: str | None = None, limit: int | None = None
    ) -> tuple[LetterMade, ...]:
        """The letters of one child or of all, the newest first."""
        with self._reading() as connection:
            return read_letters(connection, child_number, limit)

    def letter_made(self, begins: str) -> LetterMade:
        """The one letter whose uid begins so; raises RecordError for none or several."""
        with self._reading() as connection:
            return read_letter(connection, begins)

    def last_letter(self, child_number: str, kinds: Collection[str]) -> LetterMade | None:
        """The newest letter of one of these kinds that was made for a child."""
        return self.last_letters([child_number], kinds).get(child_number)

    def last_letters(self, numbers: Sequence[str], kinds: Collection[str]) -> dict[str, LetterMade]:
        """By child, as `last_letter`; a child without one is left out."""
        with self._reading() as connection:
            return read_last_letters(connection, numbers, kinds)

    def entries(self, number: str) -> tuple[Entry, ...]:
        with self._reading() as connection:
            return read_entries(connection, number)

    def history(self, number: str) -> tuple[Version, ...]:
        """Every version of every fact of a child in order of writing."""
        with self._reading() as connection:
            versions = [
                version
                for kind in KINDS.values()
                for version in read_versions(connection, kind, kind.table.c.child_number == number)
            ]
        if not versions:
            raise not_recorded(number)
        return tuple(sorted(versions, key=lambda v: (v.stamp.at, v.version, v.key)))

    def version(self, key: str) -> int:
        """The number of the latest version of a fact, to be given back with a correction."""
        with self._reading() as connection:
            return read_latest(connection, key).version

    def planning(self, numbers: Sequence[str]) -> tuple[dict[str, Case], Entries, dict[str, int]]:
        """Cases, calendar entries and revisions of these children, all of one moment."""
        with self._reading() as connection:
            return (
                read_cases(connection, numbers),
                read_entries_of(connection, numbers),
                read_revisions(connection, numbers),
            )

    def out_of_date(self, made: MadeWith, *, followed: bool) -> tuple[str, ...]:
        with self._reading() as connection:
            return read_out_of_date(connection, made, followed=followed)

    def recall_counts(self) -> tuple[tuple[str, int], ...]:
        """How many lines of the recall list stand under each heading, in its order."""
        with self._reading() as connection:
            return read_counts(connection)

    def recall_blocks(self, first: int | None = None) -> Iterator[tuple[str, str]]:
        """The lines of the recall list in order, as heading and printed lines."""
        with self._reading() as connection:
            yield from read_blocks(connection, first)

    def recall_contents(self, first: int | None = None) -> Iterator[str]:
        """The lines of the recall list in order, each as JSON."""
        with self._reading() as connection:
            yield from read_contents(connection, first)

    def diary_revision(self) -> int:
        """How often anything was written in the diary."""
        with self._reading() as connection:
            return read_revisions(connection, [DIARY])[DIARY]

    def close(self) -> None:
        self.engine.dispose()

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with plain_words(self.engine.url), self.engine.connect() as connection:
            yield connection


def open_store(url: str) -> Store:
    """The store at a database address such as sqlite:///clinic/rehab.db."""
    return Store(open_engine(url))
