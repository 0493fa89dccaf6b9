"""The database tables. A fact is never overwritten: each version of a key is a row of its own."""

from enum import StrEnum
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    Enum,
    ForeignKeyConstraint,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.schema import SchemaItem

from rehab.care.case import (
    Cataract,
    Cause,
    Correction,
    EndingKind,
    Eye,
    LensStatus,
    Method,
    Outcome,
    Procedure,
    Sutures,
    VisualAxis,
)
from rehab.care.changes import EntryKind, EntryState
from rehab.care.proposals import Decision
from rehab.measures.fixation import Finding, Nystagmus

# The newest migration. Revisions are four digits, so that older and newer are told apart as text.
REVISION = "0003"

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(referred_table_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
    }
)


def _word(name: str, vocabulary: type[StrEnum]) -> Column[Any]:
    stored = Enum(
        vocabulary,
        name=name,
        length=40,
        native_enum=False,
        create_constraint=True,
        values_callable=lambda words: [word.value for word in words],
    )
    return Column(name, stored, nullable=False)


def _child_number() -> Column[Any]:
    return Column("child_number", String(80), nullable=False, index=True)


def _versioned(name: str, *columns: SchemaItem) -> Table:
    """A table of facts: who recorded which version of a key, when and why.

    The highest version of a key is current; when it is withdrawn, the fact was entered in error.
    """
    return Table(
        name,
        metadata,
        Column("key", String(100), nullable=False),
        Column("version", Integer, nullable=False),
        _child_number(),
        Column("recorded_at", String(40), nullable=False),
        Column("recorded_by", Text, nullable=False),
        Column("reason", Text, nullable=False),
        Column("withdrawn", Boolean, nullable=False),
        *columns,
        PrimaryKeyConstraint("key", "version"),
    )


child = _versioned(
    "child",
    Column("name", Text, nullable=False),
    Column("date_of_birth", Date, nullable=False),
    Column("gestation_weeks", Integer),
    Column("language", String(40), nullable=False),
    Column("phone", Text, nullable=False),
)

surgery = _versioned(
    "surgery",
    _word("eye", Eye),
    Column("on", Date, nullable=False),
    _word("procedure", Procedure),
    _word("sutures", Sutures),
    _word("cause", Cause),
    Column("target_quarters", Integer),
)

examination = _versioned(
    "examination",
    Column("on", Date, nullable=False),
    _word("nystagmus", Nystagmus),
    Column("under_anaesthesia", Boolean, nullable=False),
    Column("done", JSON, nullable=False),
    Column("note", Text, nullable=False),
    Column("symptoms", JSON),
    Column("sleep_minutes", Integer),
)

eye_findings = Table(
    "eye_findings",
    metadata,
    Column("key", String(100), nullable=False),
    Column("version", Integer, nullable=False),
    Column("position", Integer, nullable=False),
    _word("eye", Eye),
    _word("central", Finding),
    _word("steady", Finding),
    _word("maintained", Finding),
    _word("follows", Finding),
    Column("pressure_mmhg", Integer),
    Column("instrument", Text),
    Column("sphere_quarters", Integer),
    Column("cylinder_quarters", Integer),
    Column("axis_degrees", Integer),
    _word("visual_axis", VisualAxis),
    _word("cataract", Cataract),
    _word("lens_status", LensStatus),
    _word("correction", Correction),
    Column("corneal_diameter_tenths_mm", Integer),
    Column("axial_length_hundredths_mm", Integer),
    PrimaryKeyConstraint("key", "version", "position"),
    UniqueConstraint("key", "version", "eye"),
    ForeignKeyConstraint(["key", "version"], ["examination.key", "examination.version"]),
)

acuity = Table(
    "acuity",
    metadata,
    Column("key", String(100), nullable=False),
    Column("version", Integer, nullable=False),
    _word("eye", Eye),
    Column("position", Integer, nullable=False),
    Column("written", Text, nullable=False),
    Column("test", Text, nullable=False),
    Column("distance_cm", Integer),
    Column("correction", Text, nullable=False),
    PrimaryKeyConstraint("key", "version", "eye", "position"),
    ForeignKeyConstraint(
        ["key", "version", "eye"],
        ["eye_findings.key", "eye_findings.version", "eye_findings.eye"],
    ),
)

regimen = _versioned(
    "regimen",
    _word("occluded_eye", Eye),
    _word("method", Method),
    Column("minutes_per_day", Integer),
    Column("days_per_week", Integer, nullable=False),
    Column("starts", Date, nullable=False),
    Column("ends", Date),
    Column("prescriber", Text, nullable=False),
    Column("prescribed_because", Text, nullable=False),
    Column("near_activity", Text, nullable=False),
    Column("review_on", Date),
    Column("decided_on", Date),
    Column("proposed_by", JSON, nullable=False),
    Column("tapering", Boolean, nullable=False),
    Column("paused_from", Date),
)

occlusion_proposal = _versioned(
    "occlusion_proposal",
    Column("on", Date, nullable=False),
    Column("regimen", String(100), nullable=False),
    Column("action", String(40), nullable=False),
    _word("occluded_eye", Eye),
    Column("minutes_per_day", Integer),
    Column("days_per_week", Integer, nullable=False),
    Column("starts", Date, nullable=False),
    Column("review_on", Date),
    Column("to_decide", Text, nullable=False),
    Column("cautions", JSON, nullable=False),
    Column("found", JSON, nullable=False),
    Column("because", JSON, nullable=False),
    _word("decision", Decision),
    Column("words", Text, nullable=False),
)

wear_day = _versioned(
    "wear_day",
    Column("on", Date, nullable=False),
    Column("minutes", Integer, nullable=False),
    Column("written_on", Date),
)

appointment = _versioned(
    "appointment",
    Column("on", Date, nullable=False),
    _word("outcome", Outcome),
)

ending = _versioned(
    "ending",
    _word("kind", EndingKind),
    Column("on", Date, nullable=False),
    Column("note", Text, nullable=False),
)

calendar_entry = Table(
    "calendar_entry",
    metadata,
    Column("uid", String(200), nullable=False),
    _child_number(),
    Column("sequence", Integer, nullable=False),
    Column("changed_on", Date, nullable=False),
    _word("kind", EntryKind),
    _word("state", EntryState),
    Column("start", Date, nullable=False),
    Column("until", Date, nullable=False),
    Column("on", Date, nullable=False),
    Column("checks", JSON, nullable=False),
    Column("eye", String(40), nullable=False),
    Column("minutes_per_day", Integer, nullable=False),
    Column("days_per_week", Integer, nullable=False),
    Column("method", String(40)),
    PrimaryKeyConstraint("uid"),
)
