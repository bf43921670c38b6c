"""The first schema: studies, setups, profiles, takes, runs, presses, corrections, tags."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make every table."""
    op.create_table(
        "camera_profile",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("exposure_s", sa.Double(), nullable=True),
        sa.Column("exposure_u_s", sa.Double(), nullable=True),
        sa.Column("readout_s", sa.Double(), nullable=True),
        sa.Column("readout_u_s", sa.Double(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_camera_profile"),
        sa.UniqueConstraint("name", name="uq_camera_profile_name"),
    )
    op.create_table(
        "display_profile",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("lag_s", sa.Double(), nullable=True),
        sa.Column("lag_u_s", sa.Double(), nullable=True),
        sa.Column("refresh_hz", sa.Double(), nullable=True),
        sa.Column("game_rate_hz", sa.Double(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_display_profile"),
        sa.UniqueConstraint("name", name="uq_display_profile_name"),
    )
    op.create_table(
        "library",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.String(length=36), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(length=40), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_library"),
    )
    op.create_table(
        "study",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("question", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_study"),
        sa.UniqueConstraint("name", name="uq_study_name"),
    )
    op.create_table(
        "tag",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_tag"),
        sa.UniqueConstraint("name", name="uq_tag_name"),
    )
    op.create_table(
        "setup",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("platform", sa.String(length=200), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column("build", sa.String(length=200), nullable=False),
        sa.Column("mode", sa.String(length=200), nullable=False),
        sa.Column("action", sa.String(length=200), nullable=False),
        sa.Column("spot", sa.String(length=400), nullable=False),
        sa.Column("link", sa.String(length=200), nullable=False),
        sa.Column("picture_mode", sa.String(length=200), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("display_profile_id", sa.Integer(), nullable=True),
        sa.Column("camera_profile_id", sa.Integer(), nullable=True),
        sa.Column("still_sha256", sa.String(length=64), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["camera_profile_id"], ["camera_profile.id"], name="fk_setup_camera_profile_id"
        ),
        sa.ForeignKeyConstraint(
            ["display_profile_id"], ["display_profile.id"], name="fk_setup_display_profile_id"
        ),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name="fk_setup_study_id"),
        sa.PrimaryKeyConstraint("id", name="pk_setup"),
        sa.UniqueConstraint("study_id", "name", name="uq_setup_study_id_name"),
    )
    op.create_index("ix_setup_platform", "setup", ["platform"], unique=False)
    op.create_index("ix_setup_title", "setup", ["title"], unique=False)
    op.create_table(
        "setup_tag",
        sa.Column("setup_id", sa.Integer(), nullable=False),
        sa.Column("tag_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["setup_id"], ["setup.id"], name="fk_setup_tag_setup_id"),
        sa.ForeignKeyConstraint(["tag_id"], ["tag.id"], name="fk_setup_tag_tag_id"),
        sa.PrimaryKeyConstraint("setup_id", "tag_id", name="pk_setup_tag"),
    )
    op.create_table(
        "take",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=400), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("setup_id", sa.Integer(), nullable=False),
        sa.Column("keeping", sa.String(length=10), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "keeping IN ('copy', 'link', 'in place', 'elsewhere')", name="ck_take_keeping"
        ),
        sa.CheckConstraint("state IN ('arriving', 'kept')", name="ck_take_state"),
        sa.ForeignKeyConstraint(["setup_id"], ["setup.id"], name="fk_take_setup_id"),
        sa.PrimaryKeyConstraint("id", name="pk_take"),
        sa.UniqueConstraint("sha256", name="uq_take_sha256"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_take_setup_id", "take", ["setup_id"], unique=False)
    op.create_table(
        "region_set",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("take_id", sa.Integer(), nullable=False),
        sa.Column("lamp", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("panel", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("watch", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("proposed", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["take_id"], ["take.id"], name="fk_region_set_take_id"),
        sa.PrimaryKeyConstraint("id", name="pk_region_set"),
    )
    op.create_index("ix_region_set_take_id", "region_set", ["take_id"], unique=False)
    op.create_table(
        "run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("take_id", sa.Integer(), nullable=False),
        sa.Column("region_set_id", sa.Integer(), nullable=False),
        sa.Column("display_profile_id", sa.Integer(), nullable=True),
        sa.Column("camera_profile_id", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("program_version", sa.String(length=40), nullable=False),
        sa.Column("parameters", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("facts", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("camera", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("display", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("unpaired", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("notes", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("press_count", sa.Integer(), nullable=False),
        sa.Column("traces_sha256", sa.String(length=64), nullable=False),
        sa.Column("seal", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(
            ["camera_profile_id"], ["camera_profile.id"], name="fk_run_camera_profile_id"
        ),
        sa.ForeignKeyConstraint(
            ["display_profile_id"], ["display_profile.id"], name="fk_run_display_profile_id"
        ),
        sa.ForeignKeyConstraint(["region_set_id"], ["region_set.id"], name="fk_run_region_set_id"),
        sa.ForeignKeyConstraint(["take_id"], ["take.id"], name="fk_run_take_id"),
        sa.PrimaryKeyConstraint("id", name="pk_run"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_run_take_id_id", "run", ["take_id", "id"], unique=False)
    op.create_table(
        "press",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("lamp_on_s", sa.Double(), nullable=False),
        sa.Column("lamp_on_u_s", sa.Double(), nullable=False),
        sa.Column("lamp_off_s", sa.Double(), nullable=True),
        sa.Column("lamp_off_u_s", sa.Double(), nullable=True),
        sa.Column("response_s", sa.Double(), nullable=True),
        sa.Column("response_u_s", sa.Double(), nullable=True),
        sa.Column("response_row_px", sa.Double(), nullable=True),
        sa.Column("span_s", sa.Double(), nullable=True),
        sa.Column("span_u_s", sa.Double(), nullable=True),
        sa.Column("net_s", sa.Double(), nullable=True),
        sa.Column("net_u_s", sa.Double(), nullable=True),
        sa.Column("budget", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("verdict", sa.String(length=10), nullable=False),
        sa.Column("reason", sa.String(length=40), nullable=True),
        sa.Column("lamp_on_frame", sa.Integer(), nullable=True),
        sa.Column("response_frame", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "verdict IN ('accepted', 'doubtful', 'rejected')", name="ck_press_verdict"
        ),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name="fk_press_run_id"),
        sa.PrimaryKeyConstraint("id", name="pk_press"),
        sa.UniqueConstraint("run_id", "number", name="uq_press_run_id_number"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "correction",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("take_id", sa.Integer(), nullable=False),
        sa.Column("press_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("anchor_s", sa.Double(), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("value_s", sa.Double(), nullable=True),
        sa.Column("value_u_s", sa.Double(), nullable=True),
        sa.Column("verdict", sa.String(length=10), nullable=True),
        sa.Column("reason", sa.String(length=40), nullable=True),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("undoes_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "kind IN ('lamp onset', 'response', 'verdict', 'undo')", name="ck_correction_kind"
        ),
        sa.ForeignKeyConstraint(["press_id"], ["press.id"], name="fk_correction_press_id"),
        sa.ForeignKeyConstraint(["take_id"], ["take.id"], name="fk_correction_take_id"),
        sa.ForeignKeyConstraint(["undoes_id"], ["correction.id"], name="fk_correction_undoes_id"),
        sa.PrimaryKeyConstraint("id", name="pk_correction"),
        sa.UniqueConstraint("undoes_id", name="uq_correction_undoes_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_correction_press_id", "correction", ["press_id"], unique=False)
    op.create_index("ix_correction_take_id", "correction", ["take_id"], unique=False)
