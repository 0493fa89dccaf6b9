"""The protocol: the decision tables in force, each with its dated editions, and its answers."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from rehab.errors import TableError
from rehab.rules.domain import Value
from rehab.rules.proof import ProvenTable
from rehab.rules.table import ASSUMPTION, Outcome, Row, Source, Table


@dataclass(frozen=True, slots=True)
class Because:
    """Why something stands in a plan: the row that said so, and the facts it was asked with.

    `counted` says in words how a date follows from the row ("3 months after the surgery of ...").
    """

    decision: str
    edition: date
    row: str
    source: str
    at: str
    citation: str
    seen: bool
    digest: str
    facts: tuple[tuple[str, Value], ...]
    counted: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a table says: outputs (`then`), or nothing, or a referral with its reason (`why`)."""

    outcome: Outcome
    then: Mapping[str, Value]
    why: str
    because: Because

    def number(self, name: str) -> int:
        value = self.then[name]
        if not isinstance(value, int):
            raise TypeError(f"{name} is {value!r}, a word where a number was expected")
        return value

    def word(self, name: str) -> str:
        return str(self.then[name])


@dataclass(frozen=True, slots=True)
class Protocol:
    """Every decision with its editions, oldest first."""

    editions: Mapping[str, tuple[ProvenTable, ...]]

    def edition(self, decision: str, on: date) -> ProvenTable:
        """The edition in force on `on`; raises TableError when there is none."""
        if decision not in self.editions:
            known = ", ".join(sorted(self.editions))
            raise TableError(
                f"{decision} is not a decision of this protocol.", do=f"It has: {known}."
            )
        in_force = [e for e in self.editions[decision] if e.table.effective <= on]
        if not in_force:
            first = self.editions[decision][0].table.effective
            raise TableError(
                f"no edition is in force on {on}; the first holds from {first}.", where=decision
            )
        return in_force[-1]

    def ask(self, decision: str, on: date, facts: Mapping[str, Value]) -> Answer:
        """The answer of the edition in force on `on`, the day of the event that asks."""
        edition = self.edition(decision, on)
        return _answer(edition, edition.row(facts), facts)


def _answer(edition: ProvenTable, row: Row, facts: Mapping[str, Value]) -> Answer:
    table = edition.table
    source: Source = table.source(row.source)
    because = Because(
        decision=table.decision,
        edition=table.effective,
        row=row.id,
        source=row.source,
        at=row.at,
        citation=source.citation,
        seen=source.seen,
        digest=table.digest,
        facts=tuple((name, facts[name]) for name, _ in table.inputs),
    )
    return Answer(row.outcome, dict(row.then), row.why, because)


def protocol_of(tables: Iterable[ProvenTable]) -> Protocol:
    """A protocol of `tables`; raises TableError when two editions hold from the same day."""
    editions: dict[str, list[ProvenTable]] = {}
    for proven in sorted(tables, key=lambda t: (t.table.decision, t.table.effective)):
        known = editions.setdefault(proven.table.decision, [])
        if known and known[-1].table.effective == proven.table.effective:
            raise TableError(
                f"two editions hold from {proven.table.effective}.",
                where=proven.table.decision,
                do="Give the newer one a later effective date.",
            )
        known.append(proven)
    return Protocol({decision: tuple(known) for decision, known in editions.items()})


@dataclass(frozen=True, slots=True)
class Provenance:
    """What the rows of one decision rest on; each row is counted once.

    A row that refers gives no figure, so it counts as `refer` whatever it cites.
    """

    decision: str
    seen: int
    from_memory: int
    assumption: int
    refer: int


def provenance(protocol: Protocol) -> tuple[Provenance, ...]:
    """What each decision's newest edition rests on, by decision."""
    newest = (editions[-1].table for _, editions in sorted(protocol.editions.items()))
    return tuple(provenance_of(table) for table in newest)


def provenance_of(table: Table) -> Provenance:
    rests = [_rests_on(table, row) for row in table.rows]
    kinds = ("seen", "from_memory", "assumption", "refer")
    return Provenance(table.decision, *(rests.count(kind) for kind in kinds))


def _rests_on(table: Table, row: Row) -> str:
    if row.outcome is Outcome.REFER:
        return "refer"
    if row.source == ASSUMPTION:
        return "assumption"
    return "seen" if table.source(row.source).seen else "from_memory"
