"""A new database for each test, on each kind of database, and a stamp to write with."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import Connection, create_engine

from rehab.store.schema import metadata
from rehab.store.store import Stamp, Store, create_or_upgrade, open_store
from tests.postgres import Refilled, Server


@pytest.fixture
def file_url(tmp_path: Path) -> str:
    """The address of a file that is not there yet."""
    return f"sqlite:///{tmp_path / 'rehab.db'}"


@pytest.fixture(params=["sqlite", "postgresql"])
def kind(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def url(kind: str, file_url: str, request: pytest.FixtureRequest) -> Iterator[str]:
    """The address of a database without tables."""
    if kind == "sqlite":
        yield file_url
        return
    server: Server = request.getfixturevalue("postgres")
    address = server.create()
    yield address
    server.drop(address)


@pytest.fixture
def made_url(kind: str, file_url: str, request: pytest.FixtureRequest) -> str:
    """The address of a database with the tables of today."""
    if kind == "sqlite":
        create_or_upgrade(file_url)
        return file_url
    refilled: Refilled = request.getfixturevalue("refilled")
    return refilled.fill("empty")


@pytest.fixture
def store(made_url: str) -> Iterator[Store]:
    opened = open_store(made_url)
    yield opened
    opened.close()


@pytest.fixture
def stamp() -> Stamp:
    return Stamp("a nurse", datetime(2026, 3, 2, 9, 30, tzinfo=UTC), "seen in clinic")


@pytest.fixture(scope="module")
def tables() -> Iterator[Connection]:
    """Made once, since making them takes longer than an example."""
    engine = create_engine("sqlite://")
    with engine.connect() as connection:
        metadata.create_all(connection)
        connection.commit()
        yield connection
    engine.dispose()
