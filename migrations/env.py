"""Runs the migrations on the database that the program or `alembic -x url=...` names."""

from alembic import context
from alembic.util import CommandError
from sqlalchemy import Engine

from rehab.errors import StoreError
from rehab.store.database import engine_of
from rehab.store.refusals import place_of
from rehab.store.schema import metadata


def _address() -> str:
    x_arguments = context.get_x_argument(as_dictionary=True)
    address = context.config.attributes.get("url") or x_arguments.get("url")
    if not address:
        raise CommandError("Say which database: alembic -x url=sqlite:///clinic/rehab.db ...")
    return str(address)


def _migrate(engine: Engine) -> None:
    with engine.connect().execution_options(writes=True) as connection:
        context.configure(
            connection=connection,
            target_metadata=metadata,
            render_as_batch=True,
            transactional_ddl=True,
            compare_type=True,
        )
        with context.begin_transaction():
            context.run_migrations()
            if engine.dialect.name == "sqlite":
                broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
                if broken:
                    raise StoreError(
                        f"bringing it up to date would leave rows without parents: {broken}.",
                        where=place_of(engine.url),
                        do="Nothing was changed. Keep a copy and ask for help.",
                    )


if context.is_offline_mode():
    raise CommandError("Migrations run on a database, not as a script: leave out --sql.")
# Batch mode rebuilds a table under another name, which live foreign keys would not survive.
database = engine_of(_address(), foreign_keys=False)
try:
    _migrate(database)
finally:
    database.dispose()
