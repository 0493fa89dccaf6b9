"""A new database for each test, on each kind of database, and a stamp to write with."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from rehab.store.store import Stamp, Store, create_or_upgrade, open_store
from tests.postgres import Server


@pytest.fixture
def file_url(tmp_path: Path) -> str:
    """The address of a file that is not there yet."""
    return f"sqlite:///{tmp_path / 'rehab.db'}"


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, file_url: str) -> Iterator[str]:
    """The address of a database without tables."""
    if request.param == "sqlite":
        yield file_url
        return
    server: Server = request.getfixturevalue("postgres")
    address = server.create()
    yield address
    server.drop(address)


@pytest.fixture
def made_url(url: str, request: pytest.FixtureRequest) -> str:
    """The address of a database with the tables of today."""
    create_or_upgrade(url)
    return url


@pytest.fixture
def store(made_url: str) -> Iterator[Store]:
    opened = open_store(made_url)
    yield opened
    opened.close()


@pytest.fixture
def stamp() -> Stamp:
    return Stamp("a nurse", datetime(2026, 3, 2, 9, 30, tzinfo=UTC), "seen in clinic")
