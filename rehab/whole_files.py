"""Files that are there whole or not at all."""

import os
from contextlib import suppress
from pathlib import Path

from rehab.errors import RehabError


def write_whole(path: Path, content: bytes) -> None:
    """Write beside `path`, then put it in place; raises RehabError and leaves no part behind."""
    part = path.with_name(f".{path.name}.part")
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
