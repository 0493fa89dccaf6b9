"""Files that are there whole or not at all."""

import errno
import os
from contextlib import suppress
from pathlib import Path

from rehab.errors import RehabError


def write_whole(path: Path, content: bytes) -> None:
    """Write beside `path`, then put it in place; raises RehabError and leaves no part behind."""
    try:
        if path.exists() and not path.is_file():
            raise RehabError(
                "this is no ordinary file.", where=str(path), do="Choose another place."
            )
        target = Path(os.path.realpath(path))
        if target.is_symlink():
            raise OSError(errno.ELOOP, os.strerror(errno.ELOOP))
        target.parent.mkdir(parents=True, exist_ok=True)
        _replace(target, content)
    except OSError as error:
        raise RehabError(
            f"cannot be written: {error.strerror}.", where=str(path), do="Choose another place."
        ) from None


def _replace(path: Path, content: bytes) -> None:
    # Two commands that write one file at once must not share a part.
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    file = part.open("xb")
    try:
        with file:
            file.write(content)
        os.replace(part, path)
    except BaseException:
        with suppress(OSError):
            part.unlink()
        raise
