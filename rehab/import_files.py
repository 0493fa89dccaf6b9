"""A clinic's table as lines of text: CSV read piece by piece, XLSX through its reader."""

import codecs
import csv
import itertools
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from unicodedata import normalize

from rehab.csv_files import as_meant
from rehab.errors import RecordError
from rehab.import_lines import NEEDED
from rehab.import_mapping import DELIMITERS, Explained
from rehab.measures.typed_text import plain, quoted
from rehab.sheets import read_sheet

LONGEST_LINE = 1_000_000
WORKBOOK, OLD_WORKBOOK = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
NAMES = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "upright strokes"}
CODES = ("cp1252", "cp1251", "iso8859-9", "utf-16")


@dataclass(frozen=True, slots=True)
class Row:
    """One line: its number in the file, how much of the file it takes, and its cells by column.

    `problem` says why it has no cells.
    """

    line: int
    size: int
    cells: Mapping[str, str]
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A file whose headings are understood. `size` is that of all rows together; each call of
    `rows` reads the file from its beginning."""

    path: Path
    size: int
    columns: tuple[str, ...]
    rows: Callable[[], Iterator[Row]]
    notes: tuple[str, ...] = ()


_Cells = tuple[int, int, Sequence[str]]


def open_table(path: Path, explained: Explained) -> Table:
    """Raises RecordError for a file whose text or headings cannot be understood."""
    if not path.is_file():
        # What comes through a pipe cannot be read a second time.
        raise RecordError(
            "this is no ordinary file.", where=str(path), do="Save the table as a file."
        )
    with path.open("rb") as file:
        start = file.read(4)
    if start == OLD_WORKBOOK:
        raise RecordError(
            "this is an old or a protected workbook.",
            where=str(path),
            do="In the spreadsheet, save it as XLSX without a password, or as CSV (UTF-8).",
        )
    if start == WORKBOOK:
        return _open_workbook(path, explained)
    return _open_text(path, explained)


def _open_workbook(path: Path, explained: Explained) -> Table:
    sheet = read_sheet(path, explained.sheet)

    def cells() -> Iterator[_Cells]:
        return ((n, 1, row) for n, row in sheet.rows())

    return _table(path, sheet.height, cells, explained)


def _open_text(path: Path, explained: Explained) -> Table:
    delimiter = explained.delimiter
    notes: tuple[str, ...] = ()
    if not delimiter:
        delimiter, notes = _delimiter(path, explained)

    def cells() -> Iterator[_Cells]:
        return _split(path, explained.encoding, delimiter)

    table = _table(path, path.stat().st_size, cells, explained)
    return Table(table.path, table.size, table.columns, table.rows, notes)


def _table(
    path: Path, size: int, cells: Callable[[], Iterator[_Cells]], explained: Explained
) -> Table:
    head = next((row for row in cells() if any(row[2])), None)
    if head is None:
        raise RecordError(
            "this file is empty.", where=str(path), do="See: rehab import template empty.xlsx"
        )
    line, _, heads = head
    columns = _columns(path, line, heads, explained)

    def rows() -> Iterator[Row]:
        for at, taken, said in cells():
            if at > line:
                yield _row(at, taken, said, columns)

    return Table(path, size, tuple(c for c in columns if c), rows)


def _columns(
    path: Path, line: int, heads: Sequence[str], explained: Explained
) -> tuple[str | None, ...]:
    """For each heading its column, "" for one to be ignored, None for one that is empty."""
    columns = tuple(
        None
        if not head.strip()
        else ""
        if plain(head) in explained.ignore
        else explained.column(head) or f"?{head}"
        for head in heads
    )
    unknown = [quoted(column[1:]) for column in columns if column and column.startswith("?")]
    named = Counter(column for column in columns if column)
    twice = [column for column, times in named.items() if times > 1]
    missing = [column for column in NEEDED if column not in columns]
    problems = []
    if unknown:
        problems.append(f"no column is known for {', '.join(unknown)}")
    if twice:
        problems.append(f"more than one heading stands for {', '.join(twice)}")
    if missing:
        problems.append(f"there is no heading for {', '.join(missing)}")
    if problems:
        raise RecordError(
            f"line {line} should hold the headings, but {'; '.join(problems)}.",
            where=str(path),
            do="Name the column of each heading in a mapping file, under [columns], or list it "
            "under ignore = [...]. The columns: rehab import template columns.csv",
        )
    return columns


def _row(line: int, size: int, said: Sequence[str], columns: Sequence[str | None]) -> Row:
    cells = [_plain(cell) for cell in said]
    if not any(cells):
        return Row(line, size, {})
    if len(cells) != len(columns):
        problem = f"has {len(cells)} cells where the headings have {len(columns)}."
        return Row(line, size, {}, problem)
    stray = [cell for cell, column in zip(cells, columns, strict=True) if cell and column is None]
    if stray:
        return Row(line, size, {}, f"holds {quoted(stray[0])} under no heading.")
    named = {c: cell for c, cell in zip(columns, cells, strict=True) if c and cell}
    return Row(line, size, named)


def _plain(cell: str) -> str:
    """A cell with its letters, spaces and ends of line each written in one way."""
    text = cell.replace("\r\n", "\n").strip()
    return text if text.isascii() else normalize("NFC", text.replace("\xa0", " ")).strip()


def _delimiter(path: Path, explained: Explained) -> tuple[str, tuple[str, ...]]:
    """The one sign that splits the headings so that all needed columns are among them."""
    raw = next((text for _, text in _lines(path, explained.encoding) if text.strip()), "")
    fits = []
    for sign in DELIMITERS:
        try:
            heads = next(csv.reader([raw], delimiter=sign, strict=True))
        except csv.Error:
            continue
        if set(NEEDED) <= {explained.column(head) for head in heads}:
            fits.append(sign)
    if len(fits) == 1:
        said = () if fits == [","] else (f"The columns are separated by {NAMES[fits[0]]}.",)
        return fits[0], said
    if fits:
        raise RecordError(
            f"the headings can be split by {' or by '.join(NAMES[sign] for sign in fits)}.",
            where=str(path),
            do="Say which with --delimiter.",
        )
    return max(DELIMITERS, key=raw.count), ()


def _split(path: Path, encoding: str, delimiter: str) -> Iterator[_Cells]:
    """The number of the first line of each row, its size in bytes, and its cells."""
    taken, ended, begun = 0, 0, 1

    def lines() -> Iterator[str]:
        nonlocal taken
        for size, text in _lines(path, encoding):
            taken += size
            yield text

    reader = csv.reader(lines(), delimiter=delimiter, strict=True)
    while True:
        begun = reader.line_num + 1
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise RecordError(
                f"line {begun} cannot be split into columns ({error}).",
                where=str(path),
                do="Correct this line, above all its quotation marks: one may be open that is "
                "never closed.",
            ) from None
        yield begun, taken - ended, [as_meant(cell) for cell in row]
        ended = taken


def _lines(path: Path, encoding: str) -> Iterator[tuple[int, str]]:
    """The lines of the file, each with its size in bytes; raises RecordError with the line of a
    byte that is no letter."""
    with path.open("rb") as file:
        start = file.read(2)
    code = _code(path, encoding or ("utf-16" if start in UTF_16 else "utf-8"))
    if code.startswith(("utf-16", "utf-32")):
        yield from _lines_of_wide_letters(path, code)
        return
    with path.open("rb") as file:
        for line in itertools.count(1):
            raw = file.readline(LONGEST_LINE + 1)
            if not raw:
                return
            _refuse_long(path, line, len(raw))
            if line == 1 and code == "utf-8":
                raw = raw.removeprefix(codecs.BOM_UTF8)
            try:
                text = raw.decode(code)
            except UnicodeDecodeError as error:
                raise _no_letter(path, line, code, error) from None
            if "\0" in text:
                raise RecordError(
                    f"line {line} holds a zero byte, so this is no text in {code}.",
                    where=str(path),
                    do=f"Save it as CSV (UTF-8), or name its encoding: --encoding {CODES[-1]}-le",
                )
            yield len(raw), text


def _lines_of_wide_letters(path: Path, code: str) -> Iterator[tuple[int, str]]:
    width = 4 if code.startswith("utf-32") else 2
    with path.open("r", encoding=code, newline="") as file:
        for line in itertools.count(1):
            try:
                text = file.readline(LONGEST_LINE + 1)
            except UnicodeError as error:
                raise RecordError(
                    f"after line {line - 1} this is no text in {code} ({error}).",
                    where=str(path),
                    do="Save it as CSV (UTF-8), or name its encoding with --encoding.",
                ) from None
            if not text:
                return
            _refuse_long(path, line, len(text))
            yield len(text) * width, text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}")


def _no_letter(path: Path, line: int, code: str, error: UnicodeDecodeError) -> RecordError:
    byte = error.object[error.start]
    before = error.object[max(0, error.start - 20) : error.start].decode(code, "replace")
    return RecordError(
        f"line {line}: the byte {byte:#04x} after {quoted(before)} is no letter in {code}.",
        where=str(path),
        do=f"Save it as CSV (UTF-8), or name its encoding, such as --encoding {CODES[0]}; look "
        "at the names afterwards, since a wrong one spoils letters in silence.",
    )


def _refuse_long(path: Path, line: int, length: int) -> None:
    if length > LONGEST_LINE:
        raise RecordError(
            f"line {line} is longer than {LONGEST_LINE:,} letters.",
            where=str(path),
            do="This is no table of children, or its lines end in an old way: save it anew as "
            "CSV (UTF-8).",
        )


def _code(path: Path, encoding: str) -> str:
    try:
        name = codecs.lookup(encoding).name
        b"a,b\n\0".decode(name)
    except UnicodeDecodeError:
        pass
    except (LookupError, ValueError, TypeError):
        raise RecordError(
            f"{encoding!r} is no encoding of text.",
            where=str(path),
            do=f"Known are utf-8, {', '.join(CODES)} and others.",
        ) from None
    return "utf-8" if name == "utf-8-sig" else name
