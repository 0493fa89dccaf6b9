"""Table files: TOML to proven decision tables; refuses, by file and place, what it does not understand."""

import hashlib
import tomllib
from collections.abc import Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

from rehab.errors import TableError
from rehab.rules.domain import Condition, Domain, Value
from rehab.rules.proof import ProvenTable, prove
from rehab.rules.protocol import Protocol, protocol_of
from rehab.rules.table import Outcome, Row, Source, Table

T = TypeVar("T")
BUILT_IN = Path(__file__).parent / "tables"
TOP = {"decision", "question", "effective", "verified", "change", "inputs", "outputs", "sources", "row"}
SOURCE = {"title", "authors", "journal", "year", "doi", "seen", "publisher"}
ROW = {"id", "when", "then", "nothing", "refer", "source", "at"}


class _Unreadable(Exception):
    """A place in the file and what is wrong there."""


def read_protocol(clinic_folder: Path | None = None) -> Protocol:
    """The built-in tables; a decision found in `clinic_folder` replaces the built-in one whole."""
    tables = read_folder(BUILT_IN)
    if clinic_folder is not None and clinic_folder.is_dir():
        own = read_folder(clinic_folder)
        replaced = {proven.table.decision for proven in own}
        tables = tuple(t for t in tables if t.table.decision not in replaced) + own
    return protocol_of(tables)


def read_folder(folder: Path) -> tuple[ProvenTable, ...]:
    return tuple(read_table(path) for path in sorted(folder.glob("*.toml")))


def read_table(path: Path) -> ProvenTable:
    """The proven table of one file; raises TableError with the file's name and every problem."""
    raw = path.read_bytes()
    try:
        content = tomllib.loads(raw.decode("utf-8"))
        table = _table(content, hashlib.sha256(raw).hexdigest()[:12])
        return prove(table)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise TableError(f"{error}.", where=path.name, do="Correct the file.") from None
    except _Unreadable as error:
        raise TableError(f"{error}.", where=path.name, do="Correct the file.") from None
    except TableError as error:
        raise TableError(error.what, where=path.name, do=error.do) from None


def _table(content: dict[str, Any], digest: str) -> Table:
    _only(content, TOP, "the file")
    verified = _part(content, "verified", dict, "the file")
    _only(verified, {"by", "on"}, "verified")
    inputs = dict(_domains(content, "inputs"))
    return Table(
        decision=_part(content, "decision", str, "the file"),
        question=_part(content, "question", str, "the file"),
        effective=_part(content, "effective", date, "the file"),
        verified=f"{_part(verified, 'by', str, 'verified')} on {_part(verified, 'on', date, 'verified')}",
        change=_part(content, "change", str, "the file"),
        inputs=tuple(inputs.items()),
        outputs=tuple(_domains(content, "outputs")),
        sources=tuple(_source(k, s) for k, s in content.get("sources", {}).items()),
        rows=tuple(
            _row(number, raw, inputs)
            for number, raw in enumerate(_part(content, "row", list, "the file"), 1)
        ),
        digest=digest,
    )


def _domains(content: dict[str, Any], part: str) -> Iterator[tuple[str, Domain]]:
    for name, raw in content.get(part, {}).items():
        place = f"[{part}] {name}"
        if isinstance(raw, list):
            yield name, Domain(None, None, _words(raw, place))
            continue
        if not isinstance(raw, dict):
            raise _Unreadable(f"{place} must be a list of words or {{ from = , below = }}")
        _only(raw, {"from", "below", "or"}, place)
        start, below = _part(raw, "from", int, place), _part(raw, "below", int, place)
        if start >= below:
            raise _Unreadable(f"{place}: from {start} to below {below} holds no number")
        yield name, Domain(start, below, _words(raw.get("or", []), place))


def _source(key: str, raw: Any) -> Source:
    place = f"[sources.{key}]"
    if not isinstance(raw, dict):
        raise _Unreadable(f"{place} must be a table")
    _only(raw, SOURCE, place)
    order = ("authors", "title", "journal", "publisher", "year", "doi")
    parts = [f"doi {raw[k]}" if k == "doi" else str(raw[k]) for k in order if k in raw]
    if "title" not in raw:
        raise _Unreadable(f"{place} has no title")
    return Source(key, ". ".join(part.rstrip(".") for part in parts) + ".", _part(raw, "seen", bool, place))


def _row(number: int, raw: Any, inputs: Mapping[str, Domain]) -> Row:
    if not isinstance(raw, dict):
        raise _Unreadable(f"[[row]] {number} must be a table")
    place = f"[[row]] {raw.get('id', number)}"
    _only(raw, ROW, place)
    outcomes = [outcome for outcome in Outcome if outcome.value in raw]
    if len(outcomes) != 1:
        raise _Unreadable(f"{place} must say exactly one of then, nothing, refer")
    outcome = outcomes[0]
    then = _part(raw, "then", dict, place) if outcome is Outcome.THEN else {}
    return Row(
        id=_part(raw, "id", str, place),
        when=tuple(
            (name, _condition(asked, inputs.get(name), f"{place}, when {name}"))
            for name, asked in raw.get("when", {}).items()
        ),
        outcome=outcome,
        then=tuple((name, _value(value, f"{place}, {name}")) for name, value in then.items()),
        why="" if outcome is Outcome.THEN else _part(raw, outcome.value, str, place),
        source=_part(raw, "source", str, place),
        at=_part(raw, "at", str, place),
    )


def _condition(raw: Any, domain: Domain | None, place: str) -> Condition:
    """The condition as written; a bound left out is the domain's own."""
    if isinstance(raw, str):
        return Condition(words=(raw,))
    if isinstance(raw, list):
        return Condition(words=_words(raw, place))
    if not isinstance(raw, dict):
        raise _Unreadable(f"{place} must be a word, a list of words or {{ from = , below = }}")
    _only(raw, {"from", "below", "or"}, place)
    if not raw.keys() & {"from", "below"}:
        raise _Unreadable(f"{place} has neither from nor below")
    ends = {"from": domain.start, "below": domain.below} if domain else {}
    start, below = (raw.get(key, ends.get(key)) for key in ("from", "below"))
    if type(start) is not int or type(below) is not int:
        raise _Unreadable(f"{place}: from and below must be whole numbers")
    return Condition(start, below, _words(raw.get("or", []), place))


def _value(raw: Any, place: str) -> Value:
    if isinstance(raw, bool) or not isinstance(raw, int | str):
        raise _Unreadable(f"{place} must be a whole number or a word")
    return raw


def _words(raw: Any, place: str) -> tuple[str, ...]:
    if not isinstance(raw, list) or any(not isinstance(word, str) for word in raw):
        raise _Unreadable(f"{place} must list words in quotes")
    return tuple(raw)


def _part(content: Mapping[str, Any], key: str, kind: type[T], place: str) -> T:
    value = content.get(key)
    if value is None:
        raise _Unreadable(f"{place} has no {key}")
    if type(value) is not kind:
        raise _Unreadable(f"{place}: {key} must be {_KINDS[kind]}, not {value!r}")
    return value


_KINDS: dict[type, str] = {
    int: "a whole number",
    str: "text in quotes",
    bool: "true or false",
    date: "a date such as 2026-01-31",
    dict: "a table",
    list: "a list",
}


def _only(content: Mapping[str, Any], known: set[str], place: str) -> None:
    unknown = sorted(content.keys() - known)
    if unknown:
        raise _Unreadable(f"{place} has {unknown[0]}, which is not one of {', '.join(sorted(known))}")
