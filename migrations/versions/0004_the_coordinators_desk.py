"""the coordinator's desk: contacts, the diary, booked sessions, messages and the recall list"""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

CONSENT = ("yes", "no", "unknown")
WAYS = (
    "phone call",
    "text message",
    "e-mail",
    "letter",
    "community worker",
    "in person",
    "safeguarding question",
)
TRY_OUTCOMES = ("reached", "message left", "no answer", "wrong number", "sent", "returned", "done")
MESSAGE_STATES = ("waiting", "sending", "sent", "failed", "cancelled")


def _word(name: str, words: tuple[str, ...]) -> sa.Column[Any]:
    stored = sa.Enum(*words, name=name, length=40, native_enum=False, create_constraint=True)
    return sa.Column(name, stored, nullable=False)


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


def _list(name: str) -> sa.Column[Any]:
    return sa.Column(name, sa.JSON(), nullable=False)


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
    _more_of_what_was_there()
    _contacts()
    _diary()
    op.create_table(
        "revision",
        _short("owner", 80),
        _number("number"),
        sa.PrimaryKeyConstraint("owner", name=op.f("pk_revision")),
    )
    by_bytes = sa.String(60).with_variant(sa.String(60, collation="C"), "postgresql")
    op.create_table(
        "recall_line",
        _short("child_number", 80),
        _day("planned_on"),
        _short("made_with", 64),
        _number("revision"),
        _flag("followed"),
        _flag("listed"),
        sa.Column("place", by_bytes, nullable=False),
        _short("heading", 60),
        _text("block"),
        _text("content"),
        sa.PrimaryKeyConstraint("child_number", name=op.f("pk_recall_line")),
    )
    op.create_index("ix_recall_line_listed_place", "recall_line", ["listed", "place"])
    op.create_table(
        "message",
        _short("uid", 200),
        _short("child_number", 80),
        _short("appointment", 100),
        _day("appointment_on"),
        _number("days_before"),
        _word("way", WAYS),
        _text("address"),
        _text("subject"),
        _text("text"),
        _text("calendar"),
        _word("state", MESSAGE_STATES),
        _short("changed_at", 40),
        _text("problem"),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_message")),
    )
    for column in ("child_number", "appointment"):
        op.create_index(op.f(f"ix_message_{column}"), "message", [column])
    op.create_table(
        "published_event",
        _short("calendar", 300),
        _short("uid", 200),
        _text("place"),
        _short("digest", 64),
        sa.PrimaryKeyConstraint("calendar", "uid", name=op.f("pk_published_event")),
    )


def _more_of_what_was_there() -> None:
    """What was recorded before says nothing of these; a new row must say it."""
    new: dict[str, list[sa.Column[Any]]] = {
        "child": [sa.Column("family", sa.String(80), nullable=False, server_default="")],
        "appointment": [
            sa.Column("session", sa.String(100), nullable=False, server_default=""),
            sa.Column("starts_minute", sa.Integer()),
            sa.Column("minutes", sa.Integer(), nullable=False, server_default="0"),
            sa.Column("overbooked", sa.Boolean(), nullable=False, server_default=sa.false()),
            sa.Column("arranged_on", sa.Date()),
            sa.Column("reached_before", sa.Integer(), nullable=False, server_default="0"),
        ],
        "ending": [sa.Column("receiving_clinic", sa.Text(), nullable=False, server_default="")],
        "calendar_entry": [
            sa.Column("session", sa.String(100), nullable=False, server_default=""),
            sa.Column("starts_minute", sa.Integer()),
            sa.Column("minutes", sa.Integer(), nullable=False, server_default="0"),
        ],
    }
    for table, columns in new.items():
        with op.batch_alter_table(table) as batch:
            for column in columns:
                batch.add_column(column)
        with op.batch_alter_table(table) as batch:
            for column in columns:
                batch.alter_column(column.name, server_default=None)
    op.create_index(op.f("ix_appointment_session"), "appointment", ["session"])


def _contacts() -> None:
    _versioned(
        "contact",
        _text("name"),
        _text("relation"),
        _text("phone"),
        _text("email"),
        _text("address"),
        _word("text_consent", CONSENT),
        _word("email_consent", CONSENT),
    )
    _versioned(
        "limits",
        _list("weekdays"),
        sa.Column("not_before_minute", sa.Integer()),
        sa.Column("farthest_km", sa.Integer()),
        _list("distances_km"),
    )
    _versioned(
        "contact_try",
        _day("on"),
        _word("way", WAYS),
        _word("outcome", TRY_OUTCOMES),
        sa.Column("next_try", sa.Date()),
        _text("note"),
    )


def _diary() -> None:
    _of_the_clinic(
        "site",
        _short("code", 80),
        _text("name"),
        _text("address"),
        _short("time_zone", 80),
        _short("country", 10),
        _short("region", 20),
    )
    _of_the_clinic(
        "session_pattern",
        _short("code", 80),
        _short("site", 80),
        _day("first"),
        _number("starts_minute"),
        _number("ends_minute"),
        _number("capacity_minutes"),
        _text("rule"),
        sa.Column("last", sa.Date()),
        _list("kinds"),
        _flag("under_anaesthesia"),
        _text("who"),
    )
    _of_the_clinic(
        "closure",
        _short("code", 80),
        _day("start"),
        _day("until"),
        _text("why"),
        _short("site", 80),
        _short("pattern", 80),
    )
    _of_the_clinic(
        "holiday",
        _short("country", 10),
        _short("region", 20),
        _day("on"),
        _text("name"),
        _flag("estimated"),
    )


def downgrade() -> None:
    """What the desk recorded is lost: nothing before knew where to keep it."""
    for table in (
        "published_event",
        "message",
        "recall_line",
        "revision",
        "holiday",
        "closure",
        "session_pattern",
        "site",
        "contact_try",
        "limits",
        "contact",
    ):
        op.drop_table(table)
    op.drop_index(op.f("ix_appointment_session"), "appointment")
    for table, columns in {
        "calendar_entry": ("minutes", "starts_minute", "session"),
        "ending": ("receiving_clinic",),
        "appointment": (
            "reached_before",
            "arranged_on",
            "overbooked",
            "minutes",
            "starts_minute",
            "session",
        ),
        "child": ("family",),
    }.items():
        with op.batch_alter_table(table) as batch:
            for column in columns:
                batch.drop_column(column)
