"""Whether a database is whole: what its own checks of itself find, nothing when it is."""

from contextlib import closing

from sqlalchemy import Engine, text

from rehab.store.database import engine_of

# Walks every index and compares it with its table.
CHECK_INDEXES = """
SELECT bt_index_check(index.indexrelid, true)
FROM pg_index AS index
JOIN pg_class AS class ON class.oid = index.indexrelid
JOIN pg_am AS method ON method.oid = class.relam
WHERE method.amname = 'btree' AND class.relpersistence = 'p'
"""


def damage(url: str) -> list[str]:
    """What is wrong with the database at `url`; raises what PostgreSQL says of a broken index."""
    engine = engine_of(url)
    try:
        return _in_sqlite(engine) if engine.dialect.name == "sqlite" else _in_postgresql(engine)
    finally:
        engine.dispose()


def _in_sqlite(engine: Engine) -> list[str]:
    with engine.connect() as connection:
        said = [str(row) for row in connection.scalars(text("PRAGMA integrity_check"))]
        orphans = connection.execute(text("PRAGMA foreign_key_check")).all()
    return [line for line in said if line != "ok"] + [f"without parent: {row}" for row in orphans]


def _in_postgresql(engine: Engine) -> list[str]:
    with closing(engine.connect().execution_options(writes=True)) as connection:
        connection.execute(text("CREATE EXTENSION IF NOT EXISTS amcheck"))
        connection.execute(text(CHECK_INDEXES))
        doubtful = "SELECT conname FROM pg_constraint WHERE NOT convalidated"
        return [f"not checked: {name}" for name in connection.scalars(text(doubtful))]
