"""Where the panel lies in a setup's reference still."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the corners; stills kept before have none."""
    op.add_column("setup", sa.Column("still_panel", sa.JSON(), nullable=True))
