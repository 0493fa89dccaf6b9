"""The database itself: found, recognised, made and brought up to date."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DatabaseError, NoSuchModuleError
from sqlalchemy.pool import ConnectionPoolEntry

from rehab.errors import StoreError
from rehab.shipped_files import shipped
from rehab.store.schema import REVISION

SECONDS_TO_WAIT = 15
MAKE_ONE = "Make one with: rehab init"
UPGRADE = "Bring it up to date with: rehab init"


def engine_of(url: str, *, foreign_keys: bool = True) -> Engine:
    """An engine whose SQLite connections wait for each other and obey foreign keys."""
    try:
        engine = create_engine(url)
    except (ArgumentError, NoSuchModuleError, ModuleNotFoundError) as error:
        raise StoreError(
            f"this is not the address of a database that can be used ({error}).",
            where=url.partition("://")[0],
            do="Write for example: sqlite:///clinic/rehab.db",
        ) from None
    if engine.dialect.name == "sqlite":
        _prepare_sqlite(engine, foreign_keys)
    return engine


def _prepare_sqlite(engine: Engine, foreign_keys: bool) -> None:
    def on_connect(connection: sqlite3.Connection, _: ConnectionPoolEntry) -> None:
        # The driver would begin transactions late and leave table changes outside them.
        connection.isolation_level = None
        connection.execute(f"PRAGMA busy_timeout = {SECONDS_TO_WAIT * 1000}")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute(f"PRAGMA foreign_keys = {'ON' if foreign_keys else 'OFF'}")

    def on_begin(connection: Connection) -> None:
        # A writer that began as a reader could fail instead of waiting for its turn.
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    event.listen(engine, "connect", on_connect)
    event.listen(engine, "begin", on_begin)


def place_of(url: URL) -> str:
    """How a message names the database: its file, or its address without the password."""
    if url.get_backend_name() == "sqlite" and url.database:
        return url.database
    return url.render_as_string(hide_password=True)


@contextmanager
def plain_words(url: URL) -> Iterator[None]:
    """Says what the database refused in words that a clinic can act on."""
    try:
        yield
    except DatabaseError as error:
        raise _explained(str(error.orig), place_of(url)) from error


def _explained(said: str, where: str) -> StoreError:
    if "not a database" in said or "malformed" in said:
        return StoreError(
            "this file is not a database, or it is damaged.",
            where=where,
            do="Put back the last good copy, or choose another place.",
        )
    if "locked" in said or "busy" in said:
        return StoreError(
            f"another program has been writing for more than {SECONDS_TO_WAIT} seconds.",
            where=where,
            do="Nothing was written. Wait a moment and do it again.",
        )
    return StoreError(
        f"the database refused ({said}).",
        where=where,
        do="Nothing was written. Check that the place exists and that you may write to it.",
    )


def open_engine(address: str) -> Engine:
    """An engine on a database that holds this program's tables as they are today."""
    engine = engine_of(address)
    try:
        _refuse_unless_current(engine)
    except StoreError:
        engine.dispose()
        raise
    return engine


def _refuse_unless_current(engine: Engine) -> None:
    where = place_of(engine.url)
    if _is_missing(engine.url):
        raise StoreError("there is no database here.", where=where, do=MAKE_ONE)
    revision = _revision(engine)
    if revision is None:
        raise StoreError("there are no records here yet.", where=where, do=MAKE_ONE)
    if revision < REVISION:
        raise StoreError(
            f"this database is older than the program (it is at {revision}, not {REVISION}).",
            where=where,
            do=UPGRADE,
        )


def create_or_upgrade(address: str) -> str:
    """Makes the database or brings it up to date; the answer says in a sentence what was done."""
    engine = engine_of(address)
    where = place_of(engine.url)
    if _is_missing(engine.url) and not Path(where).parent.is_dir():
        raise StoreError(
            "the folder for the database does not exist.", where=where, do="Make the folder first."
        )
    try:
        before = _revision(engine)
    finally:
        engine.dispose()
    if before == REVISION:
        return f"The database {where} is up to date."
    _migrate(address)
    if before is None:
        return f"Made the database {where}."
    return f"Brought the database {where} up to date, from {before} to {REVISION}."


def _is_missing(url: URL) -> bool:
    if url.get_backend_name() != "sqlite":
        return False
    return not (url.database and Path(url.database).exists())


def _revision(engine: Engine) -> str | None:
    """The database's revision, None when it is empty; refuses what this program cannot read."""
    where = place_of(engine.url)
    with plain_words(engine.url), engine.connect() as connection:
        tables = inspect(connection).get_table_names()
        if not tables:
            return None
        revision = None
        if "alembic_version" in tables:
            revision = connection.scalar(text("SELECT version_num FROM alembic_version"))
    if "alembic_version" not in tables or (revision and not _is_ours(revision)):
        raise StoreError(
            "this database belongs to another program.", where=where, do="Choose another place."
        )
    if revision and revision > REVISION:
        raise StoreError(
            f"this database was written by a newer version of the program (it is at {revision}).",
            where=where,
            do="Install the newer version of the program.",
        )
    return str(revision) if revision else None


def _is_ours(revision: str) -> bool:
    return len(revision) == len(REVISION) and revision.isdigit()


def _migrate(address: str) -> None:
    # Imported here: every other command is quicker without it.
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(shipped("migrations")).replace("%", "%%"))
    config.attributes["url"] = address
    with plain_words(make_url(address)):
        command.upgrade(config, "head")
