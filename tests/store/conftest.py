"""A new database for each test, and a stamp to write with."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from rehab.store.store import Stamp, Store, create_or_upgrade, open_store


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'rehab.db'}"


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    create_or_upgrade(url)
    opened = open_store(url)
    yield opened
    opened.close()


@pytest.fixture
def stamp() -> Stamp:
    return Stamp("a nurse", datetime(2026, 3, 2, 9, 30, tzinfo=UTC), "seen in clinic")
