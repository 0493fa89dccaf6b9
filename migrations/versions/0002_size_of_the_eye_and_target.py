"""size of the eye, and the target refraction of an implant

Columns are added, no table is rebuilt: what is recorded is not touched, and is unknown in them.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

ADDED = (
    ("surgery", "target_quarters"),
    ("eye_findings", "corneal_diameter_tenths_mm"),
    ("eye_findings", "axial_length_hundredths_mm"),
)


def upgrade() -> None:
    for table, column in ADDED:
        op.add_column(table, sa.Column(column, sa.Integer()))


def downgrade() -> None:
    for table, column in ADDED:
        op.drop_column(table, column)
