"""Files that are there whole or not at all."""

import os
from contextlib import suppress
from pathlib import Path

from rehab.errors import RehabError


def write_whole(path: Path, content: bytes) -> None:
    """Write beside `path`, then put it in place; raises RehabError and leaves no part behind."""
    if path.exists() and not path.is_file():
        raise RehabError("this is no ordinary file.", where=str(path), do="Choose another place.")
    path = path.resolve()
    # Two commands that write one file at once must not share a part.
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(content)
        os.replace(part, path)
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise RehabError(
            f"cannot be written: {error.strerror}.", where=str(path), do="Choose another place."
        ) from None
