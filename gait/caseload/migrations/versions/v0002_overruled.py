"""What a person overruled of a record."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Nothing was overruled in records that are there already."""
    for name, kind in (("overruled", sa.String()), ("overruled_key", sa.String(length=64))):
        op.add_column("record", sa.Column(name, kind, nullable=False, server_default=""))
