"""the life of a regimen, what the family tells, proposals and days of wear

The word "patch" becomes "adhesive patch", now that there are other methods.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import sqlalchemy as sa
from alembic import op
from alembic.operations.base import BatchOperations

revision = "0003"
down_revision = "0002"

EYES = ("right", "left")
METHODS_BEFORE = ("patch", "cloth patch on glasses")
METHODS = (
    "adhesive patch",
    "cloth patch on glasses",
    "atropine",
    "blurring filter",
    "optical blur",
)
DECISIONS = ("proposed", "accepted", "changed", "declined", "superseded")


def _one_of(name: str, *words: str) -> str:
    return f"{name} IN ({', '.join(repr(word) for word in words)})"


def _word(name: str, *words: str) -> sa.Column[Any]:
    stored = sa.Enum(*words, name=name, length=40, native_enum=False, create_constraint=True)
    return sa.Column(name, stored, nullable=False)


@contextmanager
def _regimen_with(*methods: str) -> Iterator[BatchOperations]:
    name = op.f("ck_regimen_method")
    with op.batch_alter_table("regimen") as batch:
        batch.drop_constraint(name, type_="check")
        yield batch
        batch.create_check_constraint(name, _one_of("method", *methods))


def _versioned(name: str, *columns: sa.Column[Any]) -> None:
    op.create_table(
        name,
        sa.Column("key", sa.String(100), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("child_number", sa.String(80), nullable=False),
        sa.Column("recorded_at", sa.String(40), nullable=False),
        sa.Column("recorded_by", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        *columns,
        sa.PrimaryKeyConstraint("key", "version", name=op.f(f"pk_{name}")),
    )
    op.create_index(op.f(f"ix_{name}_child_number"), name, ["child_number"])


def upgrade() -> None:
    op.add_column("examination", sa.Column("symptoms", sa.JSON()))
    op.add_column("examination", sa.Column("sleep_minutes", sa.Integer()))
    op.add_column("calendar_entry", sa.Column("method", sa.String(40)))
    op.execute(
        "UPDATE calendar_entry SET method = "
        "CASE kind WHEN 'occlusion' THEN 'adhesive patch' ELSE '' END"
    )
    _life_of_a_regimen()
    _versioned(
        "occlusion_proposal",
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("regimen", sa.String(100), nullable=False),
        sa.Column("action", sa.String(40), nullable=False),
        _word("occluded_eye", *EYES),
        sa.Column("minutes_per_day", sa.Integer()),
        sa.Column("days_per_week", sa.Integer(), nullable=False),
        sa.Column("starts", sa.Date(), nullable=False),
        sa.Column("review_on", sa.Date()),
        sa.Column("to_decide", sa.Text(), nullable=False),
        sa.Column("cautions", sa.JSON(), nullable=False),
        sa.Column("found", sa.JSON(), nullable=False),
        sa.Column("because", sa.JSON(), nullable=False),
        _word("decision", *DECISIONS),
        sa.Column("words", sa.Text(), nullable=False),
    )
    _versioned(
        "wear_day",
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("written_on", sa.Date()),
    )


def _life_of_a_regimen() -> None:
    """The old word must stand while the rows are copied, and the new one be allowed after."""
    with _regimen_with(*METHODS_BEFORE, *METHODS[:1]) as batch:
        batch.add_column(sa.Column("near_activity", sa.Text(), nullable=False, server_default=""))
        batch.add_column(sa.Column("review_on", sa.Date()))
        batch.add_column(sa.Column("decided_on", sa.Date()))
        batch.add_column(sa.Column("proposed_by", sa.JSON(), nullable=False, server_default="[]"))
        batch.add_column(
            sa.Column("tapering", sa.Boolean(), nullable=False, server_default=sa.false())
        )
        batch.add_column(sa.Column("paused_from", sa.Date()))
    op.execute("UPDATE regimen SET method = 'adhesive patch' WHERE method = 'patch'")
    with _regimen_with(*METHODS) as batch:
        for column in ("near_activity", "proposed_by", "tapering"):
            batch.alter_column(column, server_default=None)


def downgrade() -> None:
    """Other methods than patches did not exist before, so a database that holds one stays."""
    op.drop_table("wear_day")
    op.drop_table("occlusion_proposal")
    with _regimen_with(*METHODS_BEFORE, *METHODS[:1]) as batch:
        for column in (
            "paused_from",
            "tapering",
            "proposed_by",
            "decided_on",
            "review_on",
            "near_activity",
        ):
            batch.drop_column(column)
    op.execute("UPDATE regimen SET method = 'patch' WHERE method = 'adhesive patch'")
    with _regimen_with(*METHODS_BEFORE):
        pass
    op.drop_column("calendar_entry", "method")
    op.drop_column("examination", "sleep_minutes")
    op.drop_column("examination", "symptoms")
