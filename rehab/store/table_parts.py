"""What the tables of the database are made of: names, vocabularies and versions of facts."""

from enum import StrEnum
from typing import Any

from sqlalchemy import (
    Boolean,
    Column,
    Enum,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
)
from sqlalchemy.schema import SchemaItem

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(referred_table_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
    }
)


def word(name: str, vocabulary: type[StrEnum]) -> Column[Any]:
    stored = Enum(
        vocabulary,
        name=name,
        length=40,
        native_enum=False,
        create_constraint=True,
        values_callable=lambda words: [word.value for word in words],
    )
    return Column(name, stored, nullable=False)


def child_number() -> Column[Any]:
    return Column("child_number", String(80), nullable=False, index=True)


def versioned(name: str, *columns: SchemaItem) -> Table:
    """A table of facts about children: who recorded which version of a key, when and why.

    The highest version of a key is current; when it is withdrawn, the fact was entered in error.
    """
    return of_the_clinic(name, child_number(), *columns)


def of_the_clinic(name: str, *columns: SchemaItem) -> Table:
    """A table of facts in versions that belong to no child, such as the diary's."""
    return Table(
        name,
        metadata,
        Column("key", String(100), nullable=False),
        Column("version", Integer, nullable=False),
        Column("recorded_at", String(40), nullable=False),
        Column("recorded_by", Text, nullable=False),
        Column("reason", Text, nullable=False),
        Column("withdrawn", Boolean, nullable=False),
        *columns,
        PrimaryKeyConstraint("key", "version"),
    )
