"""Writing facts: each in the next version of its key, under rules that no write escapes."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy import Connection, bindparam, delete, func, insert, select, update

from rehab.care.case import Appointment, Case, Child, Examination, Outcome
from rehab.care.changes import Entry
from rehab.care.diary import Diary
from rehab.care.letter_log import LetterMade
from rehab.care.proposals import KeptProposal
from rehab.care.translations import TranslationReview
from rehab.care.wear import WearDay
from rehab.errors import RecordError
from rehab.store import rows, schema
from rehab.store.letter_log import write_letters
from rehab.store.outbox import Outbox
from rehab.store.published import Published, write_published
from rehab.store.reading import (
    ByBytes,
    is_current,
    is_latest,
    read_booked,
    read_case,
    read_diary,
    read_entries,
    read_entries_of,
    read_latest,
    read_latest_in_diary,
    read_proposals,
    read_translation_reviews,
    read_unsettled,
    read_versions,
    read_wear,
)
from rehab.store.recall_lines import MadeWith, StoredLine, read_revisions, write_lines
from rehab.store.versions import (
    DIARY_KINDS,
    KINDS,
    REVIEWS,
    AnyRecord,
    ClinicRecord,
    DiaryRecord,
    Kind,
    Record,
    Stamp,
    Version,
    diary_key,
    kind_of,
    kind_of_key,
    owner,
    stamp_to_row,
    wear_key,
    who_when_why,
)


@dataclass(frozen=True, slots=True)
class Transaction:
    """Writes that become visible together; an exception undoes all of them."""

    connection: Connection

    def add(self, child_number: str, record: Record, stamp: Stamp) -> str:
        """Records a new fact and returns its key, which takes the place of the record's id."""
        kind = kind_of(record)
        if isinstance(record, Child):
            key = self._key_of_new_child(child_number, record)
        else:
            self._refuse_unknown_child(child_number)
            key = self._next_key(child_number, kind)
            if isinstance(record, WearDay):
                key = wear_key(child_number, record)
        self._insert(Version(key, 1, record, stamp, withdrawn=False))
        return key

    def add_to_diary(self, record: DiaryRecord, stamp: Stamp) -> str:
        """Records a new site, pattern, closure or holiday and returns its key."""
        key = diary_key(record)
        kind = DIARY_KINDS[type(record)]
        known = read_versions(self.connection, kind, kind.table.c.key == key, is_latest(kind.table))
        if known:
            withdrawn = f", and withdrawn by {who_when_why(known[0])}"
            raise RecordError(
                f"this {kind.word} is already recorded{withdrawn if known[0].withdrawn else ''}.",
                where=key,
                do=f"To change it, correct {key}; for another {kind.word}, use another code.",
            )
        self._insert(Version(key, 1, record, stamp, withdrawn=False))
        return key

    def add_translation_review(self, review: TranslationReview, stamp: Stamp) -> str:
        """Records that somebody reviewed these words and returns the key of it."""
        words = (review.language, review.digest, review.reviewer)
        for known in read_translation_reviews(self.connection):
            if (known.language, known.digest, known.reviewer) == words:
                raise RecordError(
                    f"{known.reviewer} reviewed these words already, on {known.on}.",
                    where=known.id,
                    do="Nothing more is needed.",
                )
        used = select(func.count(REVIEWS.table.c.key.distinct()))
        key = f"{REVIEWS.letter}/{(self.connection.scalar(used) or 0) + 1}"
        self._insert(Version(key, 1, review, stamp, withdrawn=False))
        return key

    def log_letters(self, letters: Iterable[LetterMade]) -> tuple[LetterMade, ...]:
        """Appends letters that were made; returns them with their uids. One that was made before
        on the same day, the same in every byte, stays as it was logged first."""
        return write_letters(self.connection, letters)

    def correct(self, key: str, record: AnyRecord, stamp: Stamp, expected_version: int) -> int:
        """Supersedes a fact, or brings back a withdrawn one; returns the new version."""
        kind = kind_of_key(key)
        given_kind = kind_of(record)
        if given_kind is not kind:
            raise RecordError(
                f"a {given_kind.word} cannot take the place of a {kind.word}.",
                where=key,
                do="Withdraw the wrong fact and add the right one.",
            )
        given = getattr(record, "id", "")
        if given not in ("", key):
            raise RecordError(
                f"the record given is another fact, {given}.",
                where=key,
                do=f"Correct {given}, or give the record no id.",
            )
        if isinstance(record, Child) and record.number != key:
            raise RecordError(
                f"a child's number cannot be changed (to {record.number!r}).",
                where=key,
                do="Withdraw this child and add it under the other number.",
            )
        if isinstance(record, DiaryRecord) and diary_key(record) != key:
            raise RecordError(
                f"the {kind.word} given is another one, {diary_key(record)}.",
                where=key,
                do="Withdraw this one and add the other.",
            )
        before = self._seen(key, stamp, expected_version)
        return self._insert(Version(key, before.version + 1, record, stamp, withdrawn=False))

    def withdraw(self, key: str, stamp: Stamp, expected_version: int) -> int:
        """Marks a fact as entered in error; returns the new version. The history keeps it."""
        before = self._seen(key, stamp, expected_version)
        if before.withdrawn:
            raise RecordError(
                f"this was withdrawn already, by {who_when_why(before)}.",
                where=key,
                do="Nothing more is needed.",
            )
        after = replace(before, version=before.version + 1, stamp=stamp, withdrawn=True)
        return self._insert(after)

    def record_wear(
        self, child_number: str, days: Iterable[WearDay], stamp: Stamp
    ) -> tuple[tuple[WearDay, ...], tuple[WearDay, ...]]:
        """Days told for the first time, and days that supersede what was told of them before.

        What is told again unchanged is written nowhere.
        """
        self._refuse_unknown_child(child_number)
        kind = KINDS[WearDay]
        mine = kind.table.c.child_number == child_number
        found = read_versions(self.connection, kind, mine, is_latest(kind.table))
        known = {version.key: version for version in found}
        new, changed = [], []
        for day in days:
            key = wear_key(child_number, day)
            before = known.get(key)
            if before is None:
                self._insert(Version(key, 1, day, stamp, withdrawn=False))
                new.append(day)
            elif before.record != day or before.withdrawn:
                self.correct(key, day, stamp, before.version)
                changed.append(day)
        return tuple(new), tuple(changed)

    def set_entries(self, child_number: str, entries: Iterable[Entry]) -> None:
        """Replaces what the family's calendar holds. Every entry ever given must be among them:
        a calendar cannot withdraw an event that was forgotten."""
        self._refuse_unknown_child(child_number)
        self.set_entries_of({child_number: tuple(entries)})

    def set_entries_of(self, given: Mapping[str, tuple[Entry, ...]]) -> None:
        """As `set_entries`, for many known children; what stays as it was is not written."""
        table = schema.calendar_entry
        before = read_entries_of(self.connection, given)
        new: list[rows.Row] = []
        changed: list[rows.Row] = []
        for number, entries in given.items():
            known = {entry.uid: entry for entry in before[number]}
            forgotten = sorted(known.keys() - {entry.uid for entry in entries})
            if forgotten:
                raise RecordError(
                    f"the new entries leave out {', '.join(forgotten)}.",
                    where=number,
                    do="Keep each entry and mark it withdrawn.",
                )
            for entry in sorted(entries, key=lambda e: e.uid):
                if entry.uid not in known:
                    new.append({**rows.entry_to_row(entry), "child_number": number})
                elif entry != known[entry.uid]:
                    changed.append({**rows.entry_to_row(entry), "which": entry.uid})
        if new:
            self.connection.execute(insert(table), new)
        if changed:
            self.connection.execute(update(table).where(table.c.uid == bindparam("which")), changed)

    def case(self, number: str) -> Case:
        return read_case(self.connection, number)

    def booked(self, start: date, until: date) -> tuple[tuple[str, Appointment], ...]:
        return read_booked(self.connection, start, until)

    def unsettled(self, on: date) -> tuple[tuple[str, Appointment], ...]:
        return read_unsettled(self.connection, on)

    def revisions(self, numbers: Sequence[str]) -> dict[str, int]:
        return read_revisions(self.connection, numbers)

    def set_recall_lines(self, made: MadeWith, lines: Iterable[StoredLine]) -> None:
        write_lines(self.connection, made, lines)

    def set_published(self, calendar: str, uid: str, published: Published | None) -> None:
        write_published(self.connection, calendar, uid, published)

    @property
    def outbox(self) -> Outbox:
        return Outbox(self.connection)

    def diary(self) -> Diary:
        return read_diary(self.connection)

    def latest_in_diary(self, of_kind: type[DiaryRecord]) -> tuple[Version, ...]:
        return read_latest_in_diary(self.connection, of_kind)

    def latest(self, key: str) -> Version:
        return read_latest(self.connection, key)

    def proposals(self, number: str) -> tuple[KeptProposal, ...]:
        return read_proposals(self.connection, number)

    def wear(self, number: str) -> tuple[WearDay, ...]:
        return read_wear(self.connection, number)

    def entries(self, number: str) -> tuple[Entry, ...]:
        return read_entries(self.connection, number)

    def version(self, key: str) -> int:
        return read_latest(self.connection, key).version

    def count_versions(self, child_number: str, of_kind: type[Record]) -> int:
        """How often facts of this kind were written about a child."""
        table = KINDS[of_kind].table
        mine = select(func.count()).select_from(table).where(table.c.child_number == child_number)
        return self.connection.scalar(mine) or 0

    def _key_of_new_child(self, child_number: str, child: Child) -> str:
        number = child.number
        if number != child_number:
            raise RecordError(
                f"the child given has another number, {number!r}.",
                where=child_number,
                do="Give the same number in both places.",
            )
        if not number or "/" in number or number != number.strip():
            raise RecordError(
                f"{number!r} cannot be a child's number.",
                do='Use letters and digits without "/", for example M-014.',
            )
        versions = read_versions(
            self.connection, KINDS[Child], schema.child.c.key == number, is_latest(schema.child)
        )
        if versions:
            withdrawn = f" and withdrawn by {who_when_why(versions[0])}"
            raise RecordError(
                "a child with this number is already recorded"
                f"{withdrawn if versions[0].withdrawn else ''}.",
                where=number,
                do=f"To change it, correct {number}; for another child, use another number.",
            )
        return number

    def _refuse_unknown_child(self, number: str) -> None:
        table = schema.child
        query = select(table.c.key).where(table.c.key == number, is_current(table))
        if self.connection.scalar(query) is None:
            raise RecordError("no child has this number.", where=number, do="Add the child first.")

    def _next_key(self, number: str, kind: Kind) -> str:
        """Counts every key ever used, so that a withdrawn fact's key never means another fact."""
        table = kind.table
        used = select(func.count(table.c.key.distinct())).where(table.c.child_number == number)
        return f"{number}/{kind.letter}{(self.connection.scalar(used) or 0) + 1}"

    def _seen(self, key: str, stamp: Stamp, expected_version: int) -> Version:
        """The latest version, which must be the one the writer has seen."""
        if not stamp.reason.strip():
            raise RecordError(
                "a change of what was recorded needs a reason.", where=key, do="Say why."
            )
        latest = read_latest(self.connection, key)
        if latest.version != expected_version:
            raise RecordError(
                f"this was changed by someone else: version {latest.version} is by "
                f"{who_when_why(latest)}; you saw version {expected_version}.",
                where=key,
                do="Look at it again, then repeat your change.",
            )
        return latest

    def _insert(self, new: Version) -> int:
        kind = kind_of(new.record)
        row = kind.to_row(new.record)
        identity = {"key": new.key, "version": new.version}
        stored = {
            **identity,
            **row,
            **stamp_to_row(new.stamp),
            "withdrawn": new.withdrawn,
        }
        if not isinstance(new.record, ClinicRecord):
            stored["child_number"] = owner(new.key)
            if not new.withdrawn:
                self._refuse_alike(new, kind, row)
        self.connection.execute(insert(kind.table).values(stored))
        self._count_revision(owner(new.key))
        if isinstance(new.record, Child) and new.withdrawn:
            table = schema.recall_line
            self.connection.execute(delete(table).where(table.c.child_number == new.key))
        if isinstance(new.record, Examination):
            self._insert_findings(identity, new.record)
        return new.version

    def _count_revision(self, whose: str) -> None:
        """So that a plan made of what was written before is known to be out of date."""
        table = schema.revision
        counted = self.connection.execute(
            update(table).where(table.c.owner == whose).values(number=table.c.number + 1)
        )
        if counted.rowcount == 0:
            self.connection.execute(insert(table).values(owner=whose, number=1))

    def _insert_findings(self, identity: rows.Row, examination: Examination) -> None:
        eyes = [findings.eye for findings in examination.findings]
        if len(set(eyes)) < len(eyes):
            raise RecordError(
                "an examination names the same eye twice.",
                where=identity["key"],
                do="Put what was found in one eye together.",
            )
        findings = [
            {**identity, "position": n, **rows.findings_to_row(found)}
            for n, found in enumerate(examination.findings)
        ]
        acuities = [
            {**identity, "eye": found.eye, "position": n, **rows.acuity_to_row(acuity)}
            for found in examination.findings
            for n, acuity in enumerate(found.acuities)
        ]
        for table, parts in ((schema.eye_findings, findings), (schema.acuity, acuities)):
            if parts:
                self.connection.execute(insert(table), parts)

    def _refuse_alike(self, new: Version, kind: Kind, row: rows.Row) -> None:
        if kind.alike is None:
            return
        if isinstance(new.record, Appointment) and new.record.outcome is not Outcome.BOOKED:
            return
        table = kind.table
        query = select(table.c.key).where(
            table.c.child_number == owner(new.key),
            table.c.key != new.key,
            is_current(table),
            *(table.c[name] == row[name] for name in kind.alike),
        )
        other = self.connection.scalar(query.order_by(ByBytes(table.c.key)).limit(1))
        if other is not None:
            said = ", ".join(str(row[name]) for name in kind.alike) or str(row.get("on", "one"))
            said = " ".join(said.split())
            raise RecordError(
                f"this {kind.word} ({said}) is already recorded.",
                where=other,
                do=f"To change it, correct {other}; if it was entered in error, withdraw it.",
            )
