"""Packed presses of each take, so that a large study is overlooked in a moment."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the table; upgrading fills it from the presses, like a check does."""
    op.create_table(
        "digest",
        sa.Column("take_id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("spans", sa.LargeBinary(), nullable=False),
        sa.Column("nets", sa.LargeBinary(), nullable=False),
        sa.Column("doubtful", sa.Integer(), nullable=False),
        sa.Column("rejected", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name="fk_digest_run_id"),
        sa.ForeignKeyConstraint(["take_id"], ["take.id"], name="fk_digest_take_id"),
        sa.PrimaryKeyConstraint("take_id", name="pk_digest"),
    )
