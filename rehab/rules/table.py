"""A decision table as written: inputs with their domains, rows that are each a citation."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from rehab.rules.domain import Condition, Domain, Value

ASSUMPTION = "assumption"


class Outcome(StrEnum):
    """The three things a row may say."""

    THEN = "then"
    NOTHING = "nothing"
    REFER = "refer"


@dataclass(frozen=True, slots=True)
class Source:
    """A published source, or a clinic's own decision. `seen`: its figure was read in the source."""

    key: str
    citation: str
    seen: bool


@dataclass(frozen=True, slots=True)
class Row:
    """The unit of citation. `then` holds every output when `outcome` is THEN, else `why` tells."""

    id: str
    when: tuple[tuple[str, Condition], ...]
    outcome: Outcome
    then: tuple[tuple[str, Value], ...]
    why: str
    source: str
    at: str

    def condition(self, name: str) -> Condition | None:
        return next((condition for key, condition in self.when if key == name), None)


@dataclass(frozen=True, slots=True)
class Table:
    """One edition of one decision, not yet proven; ask it through `rehab.rules.proof.prove`."""

    decision: str
    question: str
    effective: date
    verified: str
    change: str
    inputs: tuple[tuple[str, Domain], ...]
    outputs: tuple[tuple[str, Domain], ...]
    sources: tuple[Source, ...]
    rows: tuple[Row, ...]
    digest: str

    def source(self, key: str) -> Source:
        if key == ASSUMPTION:
            told = "An assumption of this project, with no published source."
            return Source(ASSUMPTION, told, seen=False)
        return next(source for source in self.sources if source.key == key)
