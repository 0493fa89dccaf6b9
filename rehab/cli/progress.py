"""A bar that shows how far long work has come, where a person looks on."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

import click

WORTH_A_BAR = 200


class Bar(Protocol):
    def update(self, n_steps: int) -> None: ...


@contextmanager
def progress(total: int, label: str) -> Iterator[Bar]:
    """A bar for `total` steps on the error stream; nothing for short work or without a terminal."""
    hidden = total < WORTH_A_BAR or not sys.stderr.isatty()
    with click.progressbar(length=total, label=label, file=sys.stderr, hidden=hidden) as bar:
        yield bar
