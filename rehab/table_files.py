"""Table files: TOML to proven tables; refuses, by file and place, what it does not understand."""

import hashlib
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from rehab.care.facts import FACTS
from rehab.errors import TableError
from rehab.rules.domain import Condition, Domain, Value
from rehab.rules.proof import ProvenTable, prove
from rehab.rules.protocol import Protocol, protocol_of
from rehab.rules.table import Outcome, Row, Source, Table

T = TypeVar("T")
BUILT_IN = Path(__file__).parent / "tables"
TOP = {
    "decision", "question", "effective", "verified", "change", "inputs", "outputs", "sources", "row"
}  # fmt: skip
CITED: dict[str, type] = {
    "authors": str, "title": str, "journal": str, "publisher": str, "year": int, "doi": str
}  # fmt: skip
ROW = {"id", "when", "then", "nothing", "refer", "source", "at"}


class _UnreadableError(Exception):
    """A place in the file and what is wrong there."""


def read_protocol(clinic_folder: Path | None = None) -> Protocol:
    """The built-in tables; a decision found in `clinic_folder` replaces the built-in one whole."""
    tables = read_folder(BUILT_IN)
    if clinic_folder is not None:
        own = _read_own(clinic_folder)
        for proven in own:
            _check_replaces(proven.table, tables)
        replaced = {proven.table.decision for proven in own}
        tables = tuple(t for t in tables if t.table.decision not in replaced) + own
    return protocol_of(tables)


def _read_own(folder: Path) -> tuple[ProvenTable, ...]:
    """A clinic's tables; a file that would be passed over in silence is refused instead."""
    try:
        strange = sorted(p.name for p in folder.iterdir() if p.suffix != ".toml" or not p.is_file())
        if not strange:
            return read_folder(folder)
    except OSError as error:
        if isinstance(error, FileNotFoundError) and not folder.is_symlink():
            return ()
        raise TableError(
            f"the clinic's tables cannot be read: {error.strerror}.",
            where=str(folder),
            do="Make it a folder that you may read.",
        ) from None
    raise TableError(
        f"{strange[0]} is not a table file.",
        where=str(folder),
        do="Keep only files that end in .toml in this folder.",
    )


def _check_replaces(own: Table, built_in: tuple[ProvenTable, ...]) -> None:
    """A misspelt decision would leave the built-in in force; a new output would never be read,
    and an input that is neither a fact nor given to this decision could never be answered."""
    where = f"the clinic's {own.decision}"
    known = {proven.table.decision: proven.table for proven in built_in}
    if own.decision not in known:
        raise TableError(
            "it replaces no decision of this program.",
            where=where,
            do=f"The decisions are {', '.join(sorted(known))}.",
        )
    given = {*FACTS, *dict(known[own.decision].inputs)}
    strange = sorted(dict(own.inputs).keys() - given)
    if strange:
        raise TableError(
            f"{strange[0]} is not a fact that this program knows.",
            where=where,
            do=f"Known here: {', '.join(sorted(given))}.",
        )
    outputs = dict(known[own.decision].outputs)
    if dict(own.outputs).keys() != outputs.keys():
        raise TableError(
            "its outputs are not those that the program reads.",
            where=where,
            do=f"It must say {', '.join(outputs)}.",
        )
    for name, domain in own.outputs:
        read = outputs[name]
        unknown = [word for word in domain.words if word not in read.words]
        if domain.start is not None and read.start is None:
            unknown.append(str(domain))
        if unknown:
            raise TableError(
                f"the program does not know {unknown[0]} as {name}.",
                where=where,
                do=f"It may be {read}.",
            )


def read_folder(folder: Path) -> tuple[ProvenTable, ...]:
    return tuple(read_table(path) for path in sorted(folder.glob("*.toml")))


def read_table(path: Path) -> ProvenTable:
    """The proven table of one file; raises TableError with the file's name and every problem."""
    try:
        return _proven(_bytes(path))
    except _UnreadableError as error:
        raise TableError(f"{error}.", where=path.name, do="Correct the file.") from None
    except TableError as error:
        raise TableError(error.what, where=path.name, do=error.do) from None


@lru_cache(maxsize=256)
def _proven(raw: bytes) -> ProvenTable:
    # The same bytes are the same table, however often one process opens a desk.
    return prove(_table(_content(raw), hashlib.sha256(raw).hexdigest()[:12]))


def _bytes(path: Path) -> bytes:
    if path.exists() and not path.is_file():
        # A pipe would keep the reader waiting for ever.
        raise _UnreadableError("this is no ordinary file")
    try:
        return path.read_bytes()
    except OSError as error:
        raise _UnreadableError(f"the file cannot be read: {error.strerror}") from None


def _content(raw: bytes) -> dict[str, Any]:
    try:
        return tomllib.loads(raw.decode("utf-8-sig"))
    except ValueError as error:
        raise _UnreadableError(str(error)) from None
    except RecursionError:
        raise _UnreadableError("its lists are nested too deeply") from None


def _table(content: dict[str, Any], digest: str) -> Table:
    _only(content, TOP, "the file")
    verified = _part(content, "verified", dict, "the file")
    _only(verified, {"by", "on"}, "verified")
    inputs = dict(_domains(content, "inputs"))
    return Table(
        decision=_part(content, "decision", str, "the file"),
        question=_part(content, "question", str, "the file"),
        effective=_part(content, "effective", date, "the file"),
        verified=f"{_part(verified, 'by', str, 'verified')} on "
        f"{_part(verified, 'on', date, 'verified')}",
        change=_part(content, "change", str, "the file"),
        inputs=tuple(inputs.items()),
        outputs=tuple(_domains(content, "outputs")),
        sources=tuple(_source(k, s) for k, s in _entries(content, "sources", "the file")),
        rows=tuple(
            _row(number, raw, inputs)
            for number, raw in enumerate(_part(content, "row", list, "the file"), 1)
        ),
        digest=digest,
    )


def _domains(content: dict[str, Any], part: str) -> Iterator[tuple[str, Domain]]:
    for name, raw in _entries(content, part, "the file"):
        place = f"[{part}] {name}"
        if isinstance(raw, list):
            if not raw:
                raise _UnreadableError(f"{place} lists no word")
            yield name, Domain(None, None, _words(raw, place))
            continue
        if not isinstance(raw, dict):
            raise _UnreadableError(f"{place} must be a list of words or {{ from = , below = }}")
        _only(raw, {"from", "below", "or"}, place)
        start, below = _part(raw, "from", int, place), _part(raw, "below", int, place)
        if start >= below:
            raise _UnreadableError(f"{place}: from {start} to below {below} holds no number")
        yield name, Domain(start, below, _words(raw.get("or", []), place))


def _source(key: str, raw: Any) -> Source:
    place = f"[sources.{key}]"
    if not isinstance(raw, dict):
        raise _UnreadableError(f"{place} must be a table")
    _only(raw, CITED.keys() | {"seen"}, place)
    _part(raw, "title", str, place)
    cited = {
        name: str(_part(raw, name, kind, place)) for name, kind in CITED.items() if name in raw
    }
    if "doi" in cited:
        cited["doi"] = f"doi {cited['doi']}"
    citation = ". ".join(part.rstrip(".") for part in cited.values()) + "."
    return Source(key, citation, _part(raw, "seen", bool, place))


def _row(number: int, raw: Any, inputs: Mapping[str, Domain]) -> Row:
    if not isinstance(raw, dict):
        raise _UnreadableError(f"[[row]] {number} must be a table")
    place = f"[[row]] {raw.get('id', number)}"
    _only(raw, ROW, place)
    outcomes = [outcome for outcome in Outcome if outcome.value in raw]
    if len(outcomes) != 1:
        raise _UnreadableError(f"{place} must say exactly one of then, nothing, refer")
    outcome = outcomes[0]
    then = _part(raw, "then", dict, place) if outcome is Outcome.THEN else {}
    return Row(
        id=_part(raw, "id", str, place),
        when=tuple(
            (name, _condition(asked, inputs.get(name), f"{place}, when {name}"))
            for name, asked in _entries(raw, "when", place)
        ),
        outcome=outcome,
        then=tuple((name, _value(value, f"{place}, {name}")) for name, value in then.items()),
        why="" if outcome is Outcome.THEN else _part(raw, outcome.value, str, place),
        source=_part(raw, "source", str, place),
        at=_part(raw, "at", str, place),
    )


def _condition(raw: Any, domain: Domain | None, place: str) -> Condition:
    """The condition as written; a bound left out is the domain's own."""
    if domain is None:
        raise _UnreadableError(f"{place}: the table has no such input")
    if isinstance(raw, str):
        return Condition(words=(raw,))
    if isinstance(raw, list):
        return Condition(words=_words(raw, place))
    if not isinstance(raw, dict):
        raise _UnreadableError(f"{place} must be a word, a list of words or {{ from = , below = }}")
    _only(raw, {"from", "below", "or"}, place)
    if not raw.keys() & {"from", "below"}:
        raise _UnreadableError(f"{place} has neither from nor below")
    if domain.start is None:
        raise _UnreadableError(f"{place}: it has words, not numbers")
    ends = {"from": domain.start, "below": domain.below} | raw
    start, below = _part(ends, "from", int, place), _part(ends, "below", int, place)
    return Condition(start, below, _words(raw.get("or", []), place))


def _value(raw: Any, place: str) -> Value:
    if isinstance(raw, bool) or not isinstance(raw, int | str):
        raise _UnreadableError(f"{place} must be a whole number or a word")
    return raw


def _words(raw: Any, place: str) -> tuple[str, ...]:
    if not isinstance(raw, list) or any(not isinstance(word, str) for word in raw):
        raise _UnreadableError(f"{place} must list words in quotes")
    twice = [word for word in raw if raw.count(word) > 1]
    if twice:
        raise _UnreadableError(f"{place} lists {twice[0]!r} twice")
    return tuple(raw)


def _entries(content: Mapping[str, Any], part: str, place: str) -> Iterable[tuple[str, Any]]:
    """What a part that may be left out holds."""
    return _part(content, part, dict, place).items() if part in content else ()


def _part(content: Mapping[str, Any], key: str, kind: type[T], place: str) -> T:
    value = content.get(key)
    if value is None:
        raise _UnreadableError(f"{place} has no {key}")
    if type(value) is not kind:
        raise _UnreadableError(f"{place}: {key} must be {_KINDS[kind]}, not {value!r}")
    if isinstance(value, str) and not value.strip():
        raise _UnreadableError(f"{place}: {key} says nothing")
    return value


_KINDS: dict[type, str] = {
    int: "a whole number",
    str: "text in quotes",
    bool: "true or false",
    date: "a date such as 2026-01-31",
    dict: "a table",
    list: "a list",
}


def _only(content: Mapping[str, Any], known: AbstractSet[str], place: str) -> None:
    unknown = sorted(content.keys() - known)
    if unknown:
        may = ", ".join(sorted(known))
        raise _UnreadableError(f"{place} has {unknown[0]}, which is not one of {may}")
