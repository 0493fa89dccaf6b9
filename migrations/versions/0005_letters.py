"""what letters need: prescriptions, what a school may be told, reviewed words, and a log"""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

FORMATS = ("pdf", "html")


def _text(name: str) -> sa.Column[Any]:
    return sa.Column(name, sa.Text(), nullable=False)


def _short(name: str, length: int) -> sa.Column[Any]:
    return sa.Column(name, sa.String(length), nullable=False)


def _number(name: str) -> sa.Column[Any]:
    return sa.Column(name, sa.Integer(), nullable=False)


def _day(name: str) -> sa.Column[Any]:
    return sa.Column(name, sa.Date(), nullable=False)


def _flag(name: str) -> sa.Column[Any]:
    return sa.Column(name, sa.Boolean(), nullable=False)


def _of_the_clinic(name: str, *columns: sa.Column[Any]) -> None:
    op.create_table(
        name,
        _short("key", 100),
        _number("version"),
        _short("recorded_at", 40),
        _text("recorded_by"),
        _text("reason"),
        _flag("withdrawn"),
        *columns,
        sa.PrimaryKeyConstraint("key", "version", name=op.f(f"pk_{name}")),
    )


def _versioned(name: str, *columns: sa.Column[Any]) -> None:
    _of_the_clinic(name, _short("child_number", 80), *columns)
    op.create_index(op.f(f"ix_{name}_child_number"), name, ["child_number"])


def upgrade() -> None:
    _versioned("prescription", _day("on"), _day("until"), _text("text"), _text("prescriber"))
    _versioned(
        "sharing",
        _day("on"),
        sa.Column("school", sa.JSON(), nullable=False),
        _text("agreed_by"),
    )
    _of_the_clinic(
        "translation_review",
        _short("language", 40),
        _short("digest", 64),
        _text("reviewer"),
        _text("qualification"),
        _day("on"),
    )
    formats = sa.Enum(
        *FORMATS, name="file_format", length=40, native_enum=False, create_constraint=True
    )
    op.create_table(
        "letter_made",
        _short("uid", 200),
        _short("child_number", 80),
        _short("kind", 80),
        _short("language", 40),
        _day("made_on"),
        _short("made_at", 40),
        _text("made_by"),
        _number("revision"),
        _short("plan_digest", 64),
        _text("file_name"),
        sa.Column("file_format", formats, nullable=False),
        _short("sha256", 64),
        _text("words"),
        _flag("large_print"),
        _flag("reviewed"),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_letter_made")),
    )
    for column in ("child_number", "made_at"):
        op.create_index(op.f(f"ix_letter_made_{column}"), "letter_made", [column])


def downgrade() -> None:
    """What letters needed is lost: nothing before knew where to keep it."""
    for table in ("letter_made", "translation_review", "sharing", "prescription"):
        op.drop_table(table)
