"""first records

The vocabularies are written out: a migration says what held on its day, whatever came later.
"""

from collections.abc import Iterable
from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.schema import SchemaItem

revision = "0001"
down_revision = None

UNKNOWN = "unknown"
EYES = ("right", "left")
FINDINGS = ("yes", "no", UNKNOWN)
PROCEDURES = (
    "lens removal",
    "lens removal with implant",
    "secondary implant",
    "membrane clearance",
    "other intraocular surgery",
)
OUTCOMES = (
    "booked",
    "attended",
    "was not brought",
    "cancelled by family",
    "cancelled by clinic",
)


def _word(name: str, *words: str) -> sa.Column[Any]:
    stored = sa.Enum(*words, name=name, length=40, native_enum=False, create_constraint=True)
    return sa.Column(name, stored, nullable=False)


def _text(*names: str, length: int | None = None) -> Iterable[sa.Column[Any]]:
    kind = sa.String(length) if length else sa.Text()
    return [sa.Column(name, kind, nullable=False) for name in names]


def _number(*names: str, nullable: bool = False) -> Iterable[sa.Column[Any]]:
    return [sa.Column(name, sa.Integer(), nullable=nullable) for name in names]


def _day(*names: str, nullable: bool = False) -> Iterable[sa.Column[Any]]:
    return [sa.Column(name, sa.Date(), nullable=nullable) for name in names]


def _key(name: str, *columns: str) -> SchemaItem:
    return sa.PrimaryKeyConstraint(*columns, name=op.f(f"pk_{name}"))


def _index(name: str) -> None:
    op.create_index(op.f(f"ix_{name}_child_number"), name, ["child_number"])


def _versioned(name: str, *columns: sa.Column[Any]) -> None:
    op.create_table(
        name,
        *_text("key", length=100),
        *_number("version"),
        *_text("child_number", length=80),
        *_text("recorded_at", length=40),
        *_text("recorded_by", "reason"),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        *columns,
        _key(name, "key", "version"),
    )
    _index(name)


def upgrade() -> None:
    _versioned(
        "child",
        *_text("name"),
        *_day("date_of_birth"),
        *_number("gestation_weeks", nullable=True),
        *_text("language", length=40),
        *_text("phone"),
    )
    _versioned(
        "surgery",
        _word("eye", *EYES),
        *_day("on"),
        _word("procedure", *PROCEDURES),
        _word("sutures", "none", "absorbable", "non-absorbable", UNKNOWN),
        _word("cause", "congenital", "developmental", "traumatic", UNKNOWN),
    )
    _versioned(
        "regimen",
        _word("occluded_eye", *EYES),
        _word("method", "patch", "cloth patch on glasses"),
        *_number("minutes_per_day", nullable=True),
        *_number("days_per_week"),
        *_day("starts"),
        *_day("ends", nullable=True),
        *_text("prescriber", "prescribed_because"),
    )
    _versioned("appointment", *_day("on"), _word("outcome", *OUTCOMES))
    _versioned(
        "ending",
        _word("kind", "moved away", "transferred", "discharged", "declined", "died"),
        *_day("on"),
        *_text("note"),
    )
    _examinations()
    _calendar_entries()


def _examinations() -> None:
    _versioned(
        "examination",
        *_day("on"),
        _word("nystagmus", "none", "latent", "manifest", UNKNOWN),
        sa.Column("under_anaesthesia", sa.Boolean(), nullable=False),
        sa.Column("done", sa.JSON(), nullable=False),
        *_text("note"),
    )
    op.create_table(
        "eye_findings",
        *_text("key", length=100),
        *_number("version", "position"),
        _word("eye", *EYES),
        *(_word(name, *FINDINGS) for name in ("central", "steady", "maintained", "follows")),
        *_number("pressure_mmhg", nullable=True),
        sa.Column("instrument", sa.Text()),
        *_number("sphere_quarters", "cylinder_quarters", "axis_degrees", nullable=True),
        _word("visual_axis", "clear", "hazy", "opaque", UNKNOWN),
        _word("cataract", "none", "partial", "dense", UNKNOWN),
        _word("lens_status", "phakic", "aphakic", "pseudophakic", UNKNOWN),
        _word("correction", "contact lens", "glasses", "none", UNKNOWN),
        _key("eye_findings", "key", "version", "position"),
        sa.UniqueConstraint("key", "version", "eye", name=op.f("uq_eye_findings_key_version_eye")),
        sa.ForeignKeyConstraint(
            ["key", "version"],
            ["examination.key", "examination.version"],
            name=op.f("fk_eye_findings_examination"),
        ),
    )
    op.create_table(
        "acuity",
        *_text("key", length=100),
        *_number("version"),
        _word("eye", *EYES),
        *_number("position"),
        *_text("written", "test"),
        *_number("distance_cm", nullable=True),
        *_text("correction"),
        _key("acuity", "key", "version", "eye", "position"),
        sa.ForeignKeyConstraint(
            ["key", "version", "eye"],
            ["eye_findings.key", "eye_findings.version", "eye_findings.eye"],
            name=op.f("fk_acuity_eye_findings"),
        ),
    )


def _calendar_entries() -> None:
    op.create_table(
        "calendar_entry",
        *_text("uid", length=200),
        *_text("child_number", length=80),
        *_number("sequence"),
        *_day("changed_on"),
        _word("kind", "visit", "appointment", "occlusion"),
        _word("state", "live", "settled", "withdrawn"),
        *_day("start", "until", "on"),
        sa.Column("checks", sa.JSON(), nullable=False),
        *_text("eye", length=40),
        *_number("minutes_per_day", "days_per_week"),
        _key("calendar_entry", "uid"),
    )
    _index("calendar_entry")


def downgrade() -> None:
    for name in (
        "calendar_entry",
        "acuity",
        "eye_findings",
        "examination",
        "ending",
        "appointment",
        "regimen",
        "surgery",
        "child",
    ):
        op.drop_table(name)
