"""How far long work has come: a bar where a person looks on, also while plans are made anew."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Protocol

import click

from rehab.refresh import Batch, Work, made_with, out_of_date, refresh_all
from rehab.workflow import Desk

WORTH_A_BAR = 200


class Bar(Protocol):
    def update(self, n_steps: int) -> None: ...


def refreshed(opened: Desk, today: date, *, follow: bool) -> Iterator[Batch]:
    """Each batch of children whose plan of today was not there, as it is planned, under a bar."""
    work = Work(made_with(opened, today), follow)
    numbers = out_of_date(opened, work)
    with progress(len(numbers), "Planning") as bar:
        for batch in refresh_all(opened, numbers, work):
            yield batch
            bar.update(batch.planned)


@contextmanager
def progress(total: int, label: str) -> Iterator[Bar]:
    """A bar for `total` steps on the error stream; nothing for short work or without a terminal."""
    hidden = total < WORTH_A_BAR or not sys.stderr.isatty()
    with click.progressbar(length=total, label=label, file=sys.stderr, hidden=hidden) as bar:
        yield bar
