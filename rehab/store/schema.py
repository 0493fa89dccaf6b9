"""The database tables. A fact is never overwritten: each version of a key is a row of its own."""

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    ForeignKeyConstraint,
    Index,
    Integer,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    UniqueConstraint,
)

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
from rehab.care.contacts import Consent, TryOutcome, Way
from rehab.care.letter_log import LetterFormat
from rehab.care.messages import MessageState
from rehab.care.proposals import Decision
from rehab.measures.fixation import Finding, Nystagmus
from rehab.store import table_parts
from rehab.store.table_parts import child_number, of_the_clinic, versioned, word

# The newest migration. Revisions are four digits, so that older and newer are told apart as text.
REVISION = "0005"

metadata = table_parts.metadata

child = versioned(
    "child",
    Column("name", Text, nullable=False),
    Column("date_of_birth", Date, nullable=False),
    Column("gestation_weeks", Integer),
    Column("language", String(40), nullable=False),
    Column("phone", Text, nullable=False),
    Column("family", String(80), nullable=False),
)

surgery = versioned(
    "surgery",
    word("eye", Eye),
    Column("on", Date, nullable=False),
    word("procedure", Procedure),
    word("sutures", Sutures),
    word("cause", Cause),
    Column("target_quarters", Integer),
)

examination = versioned(
    "examination",
    Column("on", Date, nullable=False),
    word("nystagmus", Nystagmus),
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
    word("eye", Eye),
    word("central", Finding),
    word("steady", Finding),
    word("maintained", Finding),
    word("follows", Finding),
    Column("pressure_mmhg", Integer),
    Column("instrument", Text),
    Column("sphere_quarters", Integer),
    Column("cylinder_quarters", Integer),
    Column("axis_degrees", Integer),
    word("visual_axis", VisualAxis),
    word("cataract", Cataract),
    word("lens_status", LensStatus),
    word("correction", Correction),
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
    word("eye", Eye),
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

regimen = versioned(
    "regimen",
    word("occluded_eye", Eye),
    word("method", Method),
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

occlusion_proposal = versioned(
    "occlusion_proposal",
    Column("on", Date, nullable=False),
    Column("regimen", String(100), nullable=False),
    Column("action", String(40), nullable=False),
    word("occluded_eye", Eye),
    Column("minutes_per_day", Integer),
    Column("days_per_week", Integer, nullable=False),
    Column("starts", Date, nullable=False),
    Column("review_on", Date),
    Column("to_decide", Text, nullable=False),
    Column("cautions", JSON, nullable=False),
    Column("found", JSON, nullable=False),
    Column("because", JSON, nullable=False),
    word("decision", Decision),
    Column("words", Text, nullable=False),
)

wear_day = versioned(
    "wear_day",
    Column("on", Date, nullable=False),
    Column("minutes", Integer, nullable=False),
    Column("written_on", Date),
)

prescription = versioned(
    "prescription",
    Column("on", Date, nullable=False),
    Column("until", Date, nullable=False),
    Column("text", Text, nullable=False),
    Column("prescriber", Text, nullable=False),
)

appointment = versioned(
    "appointment",
    Column("on", Date, nullable=False),
    word("outcome", Outcome),
    Column("session", String(100), nullable=False, index=True),
    Column("starts_minute", Integer),
    Column("minutes", Integer, nullable=False),
    Column("overbooked", Boolean, nullable=False),
    Column("arranged_on", Date),
    Column("reached_before", Integer, nullable=False),
)

ending = versioned(
    "ending",
    word("kind", EndingKind),
    Column("on", Date, nullable=False),
    Column("note", Text, nullable=False),
    Column("receiving_clinic", Text, nullable=False),
)

contact = versioned(
    "contact",
    Column("name", Text, nullable=False),
    Column("relation", Text, nullable=False),
    Column("phone", Text, nullable=False),
    Column("email", Text, nullable=False),
    Column("address", Text, nullable=False),
    word("text_consent", Consent),
    word("email_consent", Consent),
)

limits = versioned(
    "limits",
    Column("weekdays", JSON, nullable=False),
    Column("not_before_minute", Integer),
    Column("farthest_km", Integer),
    Column("distances_km", JSON, nullable=False),
)

sharing = versioned(
    "sharing",
    Column("on", Date, nullable=False),
    Column("school", JSON, nullable=False),
    Column("agreed_by", Text, nullable=False),
)

contact_try = versioned(
    "contact_try",
    Column("on", Date, nullable=False),
    word("way", Way),
    word("outcome", TryOutcome),
    Column("next_try", Date),
    Column("note", Text, nullable=False),
)

site = of_the_clinic(
    "site",
    Column("code", String(80), nullable=False),
    Column("name", Text, nullable=False),
    Column("address", Text, nullable=False),
    Column("time_zone", String(80), nullable=False),
    Column("country", String(10), nullable=False),
    Column("region", String(20), nullable=False),
)

session_pattern = of_the_clinic(
    "session_pattern",
    Column("code", String(80), nullable=False),
    Column("site", String(80), nullable=False),
    Column("first", Date, nullable=False),
    Column("starts_minute", Integer, nullable=False),
    Column("ends_minute", Integer, nullable=False),
    Column("capacity_minutes", Integer, nullable=False),
    Column("rule", Text, nullable=False),
    Column("last", Date),
    Column("kinds", JSON, nullable=False),
    Column("under_anaesthesia", Boolean, nullable=False),
    Column("who", Text, nullable=False),
)

closure = of_the_clinic(
    "closure",
    Column("code", String(80), nullable=False),
    Column("start", Date, nullable=False),
    Column("until", Date, nullable=False),
    Column("why", Text, nullable=False),
    Column("site", String(80), nullable=False),
    Column("pattern", String(80), nullable=False),
)

holiday = of_the_clinic(
    "holiday",
    Column("country", String(10), nullable=False),
    Column("region", String(20), nullable=False),
    Column("on", Date, nullable=False),
    Column("name", Text, nullable=False),
    Column("estimated", Boolean, nullable=False),
)

translation_review = of_the_clinic(
    "translation_review",
    Column("language", String(40), nullable=False),
    Column("digest", String(64), nullable=False),
    Column("reviewer", Text, nullable=False),
    Column("qualification", Text, nullable=False),
    Column("on", Date, nullable=False),
)

calendar_entry = Table(
    "calendar_entry",
    metadata,
    Column("uid", String(200), nullable=False),
    child_number(),
    Column("sequence", Integer, nullable=False),
    Column("changed_on", Date, nullable=False),
    word("kind", EntryKind),
    word("state", EntryState),
    Column("start", Date, nullable=False),
    Column("until", Date, nullable=False),
    Column("on", Date, nullable=False),
    Column("checks", JSON, nullable=False),
    Column("eye", String(40), nullable=False),
    Column("minutes_per_day", Integer, nullable=False),
    Column("days_per_week", Integer, nullable=False),
    Column("method", String(40)),
    Column("session", String(100), nullable=False),
    Column("starts_minute", Integer),
    Column("minutes", Integer, nullable=False),
    PrimaryKeyConstraint("uid"),
)

# How often anything was written about an owner: a child by its number, or the diary.
revision = Table(
    "revision",
    metadata,
    Column("owner", String(80), nullable=False),
    Column("number", Integer, nullable=False),
    PrimaryKeyConstraint("owner"),
)

# Order as in the program, whatever the language of the database server.
_BY_BYTES = String(60).with_variant(String(60, collation="C"), "postgresql")
# The recall list as it was worked out with the last plan of each child, ready to be read in order:
# what the line was made with, then the line as it is printed, and as JSON for all else.
recall_line = Table(
    "recall_line",
    metadata,
    Column("child_number", String(80), nullable=False),
    Column("planned_on", Date, nullable=False),
    Column("made_with", String(64), nullable=False),
    Column("revision", Integer, nullable=False),
    Column("followed", Boolean, nullable=False),
    Column("listed", Boolean, nullable=False),
    Column("place", _BY_BYTES, nullable=False),
    Column("heading", String(60), nullable=False),
    Column("block", Text, nullable=False),
    Column("content", Text, nullable=False),
    PrimaryKeyConstraint("child_number"),
    Index("ix_recall_line_listed_place", "listed", "place"),
)

# Messages for families; whatever sends them asks for those that wait.
message = Table(
    "message",
    metadata,
    Column("uid", String(200), nullable=False),
    child_number(),
    Column("appointment", String(100), nullable=False, index=True),
    Column("appointment_on", Date, nullable=False),
    Column("days_before", Integer, nullable=False),
    word("way", Way),
    Column("address", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("calendar", Text, nullable=False),
    word("state", MessageState),
    Column("changed_at", String(40), nullable=False),
    Column("problem", Text, nullable=False),
    PrimaryKeyConstraint("uid"),
)

# What was last put on a calendar server, so that a person's change there is seen.
published_event = Table(
    "published_event",
    metadata,
    Column("calendar", String(300), nullable=False),
    Column("uid", String(200), nullable=False),
    Column("place", Text, nullable=False),
    Column("digest", String(64), nullable=False),
    PrimaryKeyConstraint("calendar", "uid"),
)

# Letters that were made, none of which is ever changed or taken off. The words are compressed.
letter_made = Table(
    "letter_made",
    metadata,
    Column("uid", String(200), nullable=False),
    child_number(),
    Column("kind", String(80), nullable=False),
    Column("language", String(40), nullable=False),
    Column("made_on", Date, nullable=False),
    Column("made_at", String(40), nullable=False, index=True),
    Column("made_by", Text, nullable=False),
    Column("revision", Integer, nullable=False),
    Column("plan_digest", String(64), nullable=False),
    Column("file_name", Text, nullable=False),
    word("file_format", LetterFormat),
    Column("sha256", String(64), nullable=False),
    Column("words", Text, nullable=False),
    Column("large_print", Boolean, nullable=False),
    Column("reviewed", Boolean, nullable=False),
    PrimaryKeyConstraint("uid"),
)
