"""Files that are there whole or not at all."""

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from rehab.errors import RehabError

# https://www.sqlite.org/fileformat2.html, 1.3
DATABASE_START = b"SQLite format 3\0"


def write_whole(path: Path, content: bytes) -> None:
    """Write beside `path`, then put it in place; raises RehabError and leaves no part behind."""
    with _plain_words(path), whole_file(path) as file:
        file.write(content)


@contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """A file to write piece by piece, in place once all of it is written, as `write_whole`."""
    with _plain_words(path):
        if path.exists() and not path.is_file():
            raise RehabError(
                "this is no ordinary file.", where=str(path), do="Choose another place."
            )
        if path.exists() and (path.suffix == ".toml" or _is_database(path)):
            kind = "a clinic's file or table" if path.suffix == ".toml" else "a database"
            raise RehabError(
                f"this file is {kind}, which would be lost.",
                where=str(path),
                do="Choose another place.",
            )
        target = Path(os.path.realpath(path))
        if target.is_symlink():
            raise OSError(errno.ELOOP, os.strerror(errno.ELOOP))
        target.parent.mkdir(parents=True, exist_ok=True)
        # Two commands that write one file at once must not share a part.
        part = target.with_name(f".{target.name}.{os.getpid()}.part")
        file = part.open("xb")
    try:
        with file:
            yield file
        with _plain_words(path):
            os.replace(part, target)
    except BaseException:
        with suppress(OSError):
            part.unlink()
        raise


def _is_database(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(len(DATABASE_START)) == DATABASE_START


@contextmanager
def _plain_words(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise RehabError(
            f"cannot be written: {error.strerror}.", where=str(path), do="Choose another place."
        ) from None
