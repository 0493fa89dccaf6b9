"""A clinic's own headings, words and ways of writing: a TOML file that explains its tables."""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rehab.errors import SettingsError
from rehab.import_lines import COLUMNS, VOCABULARIES
from rehab.measures.typed_text import plain
from rehab.measures.written_dates import DateOrder

TEXTS = ("dates", "encoding", "delimiter", "sheet")
LISTS = ("ignore", "not_duplicates")
DELIMITERS = (",", ";", "\t", "|")


@dataclass(frozen=True, slots=True)
class Explained:
    """What must be told of a file before it can be read. Headings and words are in plain letters.

    None, or "" for a text, means that nothing was told.
    """

    dates: DateOrder | None = None
    encoding: str = ""
    delimiter: str = ""
    sheet: str = ""
    columns: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    ignore: frozenset[str] = frozenset()
    not_duplicates: frozenset[str] = frozenset()

    def column(self, heading: str) -> str | None:
        """The column that `heading` stands for; None for one that nobody explained."""
        said = plain(heading)
        own = said.replace(" ", "_")
        return self.columns.get(said) or (own if own in COLUMNS else None)


def read_mapping(path: Path) -> Explained:
    """The mapping at `path`; raises SettingsError that lists every problem in it."""
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError, RecursionError) as error:
        raise SettingsError(
            f"this mapping cannot be read ({error}).", where=str(path), do="Correct the file."
        ) from None
    problems = list(_problems(raw))
    if problems:
        raise SettingsError("; ".join(problems) + ".", where=str(path), do="Correct the file.")
    return Explained(
        dates=DateOrder(raw["dates"]) if "dates" in raw else None,
        encoding=raw.get("encoding", ""),
        delimiter=raw.get("delimiter", ""),
        sheet=raw.get("sheet", ""),
        columns={plain(heading): column for heading, column in raw.get("columns", {}).items()},
        words={
            name: {plain(said): meant for said, meant in words.items()}
            for name, words in raw.get("words", {}).items()
        },
        ignore=frozenset(plain(heading) for heading in raw.get("ignore", ())),
        not_duplicates=frozenset(raw.get("not_duplicates", ())),
    )


def _problems(raw: Mapping[str, Any]) -> Iterator[str]:
    known = (*TEXTS, *LISTS, "columns", "words")
    for key in sorted(raw.keys() - set(known)):
        yield f"{key} is not part of a mapping (known: {', '.join(known)})"
    for key in TEXTS:
        if not isinstance(raw.get(key, ""), str):
            yield f"{key} must be text in quotes"
    if "dates" in raw and raw["dates"] not in tuple(DateOrder):
        yield f"dates must be one of {', '.join(DateOrder)}"
    if raw.get("delimiter", ",") not in DELIMITERS:
        yield 'delimiter must be one of "," ";" "|" "\\t"'
    for key in LISTS:
        listed = raw.get(key, [])
        if not isinstance(listed, list) or not all(isinstance(item, str) for item in listed):
            yield f"{key} must list texts in quotes"
    yield from _column_problems(raw.get("columns", {}))
    yield from _word_problems(raw.get("words", {}))


def _column_problems(columns: object) -> Iterator[str]:
    if not isinstance(columns, dict):
        yield '[columns] must give headings their columns, such as "Date of birth" = "born"'
        return
    seen: dict[str, str] = {}
    for heading, column in columns.items():
        if column not in COLUMNS:
            yield f"{heading!r} = {column!r}: there is no such column ({', '.join(COLUMNS)})"
        if seen.setdefault(plain(heading), heading) != heading:
            yield f"{heading!r} and {seen[plain(heading)]!r} are one heading"


def _word_problems(words: object) -> Iterator[str]:
    if not isinstance(words, dict) or not all(isinstance(w, dict) for w in words.values()):
        yield '[words.procedure] must give words their meaning, such as "LA" = "lens removal"'
        return
    for name, meanings in words.items():
        if name not in VOCABULARIES:
            yield f"[words.{name}]: its words cannot be mapped ({', '.join(VOCABULARIES)} can)"
            continue
        for said, meant in meanings.items():
            if meant not in VOCABULARIES[name]:
                listed = ", ".join(VOCABULARIES[name])
                yield f"[words.{name}] {said!r} = {meant!r}: known are {listed}"
