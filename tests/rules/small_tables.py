"""Random small tables for property tests, whole by construction or broken at random."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from itertools import product

from hypothesis import strategies as st

from rehab.rules.domain import Condition, Domain, Value
from rehab.rules.table import Outcome, Row, Source, Table

WORDS = ("unknown", "left", "right")
OUTPUTS = (("weeks", Domain(1, 100)),)
SOURCES = (Source("study", "A study.", seen=True), Source("textbook", "A textbook.", seen=False))


def row(
    number: int, when: dict[str, Condition], outcome: Outcome = Outcome.THEN, source: str = "study"
) -> Row:
    """A row that says `number` weeks, or whose reason has that number."""
    then: tuple[tuple[str, Value], ...] = (("weeks", number),) if outcome is Outcome.THEN else ()
    why = "" if then else f"reason {number}"
    return Row(f"row-{number}", tuple(when.items()), outcome, then, why, source, f"page {number}")


def table(inputs: dict[str, Domain], *rows: Row) -> Table:
    cited = {r.source for r in rows}
    return Table(
        decision="small",
        question="How many weeks?",
        effective=date(2020, 1, 1),
        verified="unverified on 2020-01-01",
        change="First edition.",
        inputs=tuple(inputs.items()),
        outputs=OUTPUTS,
        sources=tuple(source for source in SOURCES if source.key in cited),
        rows=rows,
        digest="0" * 12,
    )


def questions(asked: Table) -> Iterator[dict[str, Value]]:
    """Every question that `asked` may be put, value by value."""
    names = [name for name, _ in asked.inputs]
    values = [values_of(domain) for _, domain in asked.inputs]
    return (dict(zip(names, chosen, strict=True)) for chosen in product(*values))


def values_of(domain: Domain) -> list[Value]:
    numbers = range(domain.start or 0, domain.below or 0)
    return [*numbers, *domain.words]


def answers(asked: Row, facts: dict[str, Value]) -> bool:
    """Whether `asked` answers `facts`, said anew and without pieces."""
    return all(_meets(condition, facts[name]) for name, condition in asked.when)


def _meets(condition: Condition, value: Value) -> bool:
    if isinstance(value, str):
        return value in condition.words
    if condition.start is None or condition.below is None:
        return False
    return condition.start <= value < condition.below


@st.composite
def domains(draw: st.DrawFn) -> Domain:
    words: tuple[str, ...] = WORDS[: draw(st.integers(0, 2))]
    if len(words) > 0 and draw(st.booleans()):
        return Domain(None, None, words)
    start = draw(st.integers(-3, 3))
    return Domain(start, start + draw(st.integers(1, 7)), words)


@st.composite
def conditions(draw: st.DrawFn, domain: Domain) -> Condition:
    """What a row may ask of `domain`; never nothing."""
    words = tuple(word for word in domain.words if draw(st.booleans()))
    only_words = bool(words) and draw(st.booleans())
    if domain.start is None or domain.below is None or only_words:
        return Condition(words=words or domain.words[:1])
    start = draw(st.integers(domain.start, domain.below - 1))
    return Condition(start, draw(st.integers(start + 1, domain.below)), words)


@st.composite
def any_tables(draw: st.DrawFn) -> Table:
    """Tables that may have gaps and overlaps."""
    inputs = {name: draw(domains()) for name in "ab"[: draw(st.integers(1, 2))]}
    rows = [
        row(number, {n: draw(conditions(d)) for n, d in inputs.items() if draw(st.booleans())})
        for number in range(1, draw(st.integers(1, 4)) + 1)
    ]
    return table(inputs, *rows)


@st.composite
def whole_tables(draw: st.DrawFn) -> Table:
    """Tables without gap or overlap: the domain is cut in two again and again."""
    inputs = {name: draw(domains()) for name in "abc"[: draw(st.integers(0, 3))]}
    boxes = [{n: Condition(d.start, d.below, d.words) for n, d in inputs.items()}]
    for _ in range(draw(st.integers(0, 5)) if inputs else 0):
        box = boxes.pop(draw(st.integers(0, len(boxes) - 1)))
        name = draw(st.sampled_from(sorted(inputs)))
        boxes += [box | {name: part} for part in _halves(box[name])]
    outcomes = [draw(st.sampled_from(Outcome)) for _ in boxes]
    rows = [
        row(number, _without_the_obvious(box, inputs), outcome, draw(st.sampled_from(CITABLE)))
        for number, (box, outcome) in enumerate(zip(boxes, outcomes, strict=True), 1)
    ]
    return table(inputs, *draw(st.permutations(rows)))


CITABLE = ("study", "textbook", "assumption")


def _halves(condition: Condition) -> list[Condition]:
    start, below = condition.start, condition.below
    if start is not None and below is not None and below - start > 1:
        middle = (start + below) // 2
        return [Condition(start, middle, condition.words), Condition(middle, below)]
    if start is not None and condition.words:
        return [replace(condition, words=()), Condition(words=condition.words)]
    if len(condition.words) > 1:
        return [Condition(words=condition.words[:1]), Condition(words=condition.words[1:])]
    return [condition]


def _without_the_obvious(
    box: dict[str, Condition], inputs: dict[str, Domain]
) -> dict[str, Condition]:
    """An input whose whole domain is asked for need not be named."""
    whole = {n: Condition(d.start, d.below, d.words) for n, d in inputs.items()}
    return {name: condition for name, condition in box.items() if condition != whole[name]}
