"""The schema: what is kept, one class a table.

Observations are rows that are written once: takes, region sets, runs, presses,
corrections. Names and conditions (studies, setups, profiles) may be edited;
each carries a ``revision`` that rises with every edit, so that an edit made on
an old reading is refused instead of overwriting a newer one.

study ── setup ── take ── run ── press
           │       │       │
           │       │       └─ region_set (the regions used)
           │       └─ correction (a person's word on a press; kept by the take)
           └─ display_profile, camera_profile, tag
"""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    CheckConstraint,
    DateTime,
    Dialect,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy import Table as SqlTable
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

# SQLite counts rows by itself only where the key is plainly INTEGER.
LongKey = BigInteger().with_variant(Integer, "sqlite")


class Instant(TypeDecorator[datetime]):
    """A moment in UTC; SQLite keeps no zone, so it is put back on reading."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return the moment in UTC, ready to store."""
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """Return the stored moment with its zone."""
        if value is None:
            return None
        moment: datetime = value
        return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)


class Table(DeclarativeBase):
    """What every table shares: names for constraints, and Python types to columns."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012 (SQLAlchemy reads it once, as a plain dict)
        float: Double(),
        datetime: Instant(),
        list[Any]: JSON(none_as_null=True),
        dict[str, Any]: JSON(none_as_null=True),
    }


class LibraryRow(Table):
    """The library itself: one row."""

    __tablename__ = "library"

    id: Mapped[int] = mapped_column(primary_key=True)
    uuid: Mapped[str] = mapped_column(String(36))
    made_at: Mapped[datetime]
    made_by: Mapped[str] = mapped_column(String(40))


class StudyRow(Table):
    """A question."""

    __tablename__ = "study"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(200), unique=True)
    question: Mapped[str] = mapped_column(Text, default="")
    notes: Mapped[str] = mapped_column(Text, default="")
    made_at: Mapped[datetime]
    revision: Mapped[int] = mapped_column(default=1)


class DisplayProfileRow(Table):
    """What is known of a display mode."""

    __tablename__ = "display_profile"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(200), unique=True)
    lag_s: Mapped[float | None]
    lag_u_s: Mapped[float | None]
    refresh_hz: Mapped[float | None]
    game_rate_hz: Mapped[float | None]
    notes: Mapped[str] = mapped_column(Text, default="")
    made_at: Mapped[datetime]
    revision: Mapped[int] = mapped_column(default=1)


class CameraProfileRow(Table):
    """What is known of a camera mode."""

    __tablename__ = "camera_profile"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(200), unique=True)
    exposure_s: Mapped[float | None]
    exposure_u_s: Mapped[float | None]
    readout_s: Mapped[float | None]
    readout_u_s: Mapped[float | None]
    notes: Mapped[str] = mapped_column(Text, default="")
    made_at: Mapped[datetime]
    revision: Mapped[int] = mapped_column(default=1)


class SetupRow(Table):
    """Everything held equal over a set of presses."""

    __tablename__ = "setup"
    __table_args__ = (UniqueConstraint("study_id", "name"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    study_id: Mapped[int] = mapped_column(ForeignKey("study.id"))
    name: Mapped[str] = mapped_column(String(200))
    platform: Mapped[str] = mapped_column(String(200), index=True)
    title: Mapped[str] = mapped_column(String(200), index=True)
    build: Mapped[str] = mapped_column(String(200))
    mode: Mapped[str] = mapped_column(String(200))
    action: Mapped[str] = mapped_column(String(200))
    spot: Mapped[str] = mapped_column(String(400))
    link: Mapped[str] = mapped_column(String(200))
    picture_mode: Mapped[str] = mapped_column(String(200))
    notes: Mapped[str] = mapped_column(Text)
    display_profile_id: Mapped[int | None] = mapped_column(ForeignKey("display_profile.id"))
    camera_profile_id: Mapped[int | None] = mapped_column(ForeignKey("camera_profile.id"))
    still_sha256: Mapped[str | None] = mapped_column(String(64))
    still_panel: Mapped[list[Any] | None]
    made_at: Mapped[datetime]
    revision: Mapped[int] = mapped_column(default=1)


class TagRow(Table):
    """A word that setups can be gathered under."""

    __tablename__ = "tag"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(200), unique=True)


class SetupTagRow(Table):
    """Which setup bears which tag."""

    __tablename__ = "setup_tag"

    setup_id: Mapped[int] = mapped_column(ForeignKey("setup.id"), primary_key=True)
    tag_id: Mapped[int] = mapped_column(ForeignKey("tag.id"), primary_key=True)


class TakeRow(Table):
    """One recorded clip; ``sha256`` names its bytes.

    A take is first ``arriving``, and ``kept`` once its bytes are safely in
    place: an import that was cut off leaves an arriving row, never a kept take
    without its clip.
    """

    __tablename__ = "take"
    __table_args__ = (
        CheckConstraint("state IN ('arriving', 'kept')", name="state"),
        CheckConstraint("keeping IN ('copy', 'link', 'in place', 'elsewhere')", name="keeping"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    sha256: Mapped[str] = mapped_column(String(64), unique=True)
    name: Mapped[str] = mapped_column(String(400))
    size_bytes: Mapped[int] = mapped_column(BigInteger)
    setup_id: Mapped[int] = mapped_column(ForeignKey("setup.id"), index=True)
    keeping: Mapped[str] = mapped_column(String(10))
    source: Mapped[str] = mapped_column(Text)
    state: Mapped[str] = mapped_column(String(10))
    added_at: Mapped[datetime]


class RegionSetRow(Table):
    """Lamp, panel and watched part of one take."""

    __tablename__ = "region_set"

    id: Mapped[int] = mapped_column(primary_key=True)
    take_id: Mapped[int] = mapped_column(ForeignKey("take.id"), index=True)
    lamp: Mapped[list[Any]]
    panel: Mapped[list[Any] | None]
    watch: Mapped[list[Any]]
    proposed: Mapped[list[Any]]
    by: Mapped[str] = mapped_column(String(200))
    made_at: Mapped[datetime]


class RunRow(Table):
    """One measuring of one take: what went in, and all that came out but the presses.

    ``fingerprint`` hashes what went in, so that a run can be told stale;
    ``seal`` hashes what came out, so that damage to a result can be seen.
    """

    __tablename__ = "run"
    __table_args__ = (Index(None, "take_id", "id"), {"sqlite_autoincrement": True})

    id: Mapped[int] = mapped_column(primary_key=True)
    take_id: Mapped[int] = mapped_column(ForeignKey("take.id"))
    region_set_id: Mapped[int] = mapped_column(ForeignKey("region_set.id"))
    display_profile_id: Mapped[int | None] = mapped_column(ForeignKey("display_profile.id"))
    camera_profile_id: Mapped[int | None] = mapped_column(ForeignKey("camera_profile.id"))
    made_at: Mapped[datetime]
    program_version: Mapped[str] = mapped_column(String(40))
    parameters: Mapped[dict[str, Any]]
    fingerprint: Mapped[str] = mapped_column(String(64))
    facts: Mapped[dict[str, Any]]
    camera: Mapped[dict[str, Any]]
    display: Mapped[dict[str, Any]]
    unpaired: Mapped[list[Any]]
    notes: Mapped[list[Any]]
    press_count: Mapped[int]
    traces_sha256: Mapped[str] = mapped_column(String(64))
    seal: Mapped[str] = mapped_column(String(64))


class PressRow(Table):
    """One press as one run measured it; never changed."""

    __tablename__ = "press"
    __table_args__ = (
        UniqueConstraint("run_id", "number"),
        CheckConstraint("verdict IN ('accepted', 'doubtful', 'rejected')", name="verdict"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(LongKey, primary_key=True)
    run_id: Mapped[int] = mapped_column(ForeignKey("run.id"))
    number: Mapped[int]
    lamp_on_s: Mapped[float]
    lamp_on_u_s: Mapped[float]
    lamp_off_s: Mapped[float | None]
    lamp_off_u_s: Mapped[float | None]
    response_s: Mapped[float | None]
    response_u_s: Mapped[float | None]
    response_row_px: Mapped[float | None]
    span_s: Mapped[float | None]
    span_u_s: Mapped[float | None]
    net_s: Mapped[float | None]
    net_u_s: Mapped[float | None]
    budget: Mapped[list[Any]]
    verdict: Mapped[str] = mapped_column(String(10))
    reason: Mapped[str | None] = mapped_column(String(40))
    lamp_on_frame: Mapped[int | None]
    response_frame: Mapped[int | None]


PRESS_TABLE: SqlTable = Table.metadata.tables[PressRow.__tablename__]


class CorrectionRow(Table):
    """A person's word on a press.

    It names the press it was made on, but is kept by the take and by the lamp
    onset ``anchor_s``, so that it is found again in every later run. An undoing
    is a correction of its own that points at what it undoes.
    """

    __tablename__ = "correction"
    __table_args__ = (
        CheckConstraint("kind IN ('lamp onset', 'response', 'verdict', 'undo')", name="kind"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    take_id: Mapped[int] = mapped_column(ForeignKey("take.id"), index=True)
    press_id: Mapped[int] = mapped_column(LongKey, ForeignKey("press.id"), index=True)
    anchor_s: Mapped[float]
    kind: Mapped[str] = mapped_column(String(12))
    value_s: Mapped[float | None]
    value_u_s: Mapped[float | None]
    verdict: Mapped[str | None] = mapped_column(String(10))
    reason: Mapped[str | None] = mapped_column(String(40))
    why: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(String(200))
    made_at: Mapped[datetime]
    undoes_id: Mapped[int | None] = mapped_column(ForeignKey("correction.id"), unique=True)


class DigestRow(Table):
    """The accepted presses of a take as they stand, packed to be read by the thousand.

    It repeats what presses and corrections say, is written in the same
    transaction as they are, and can be built again from them at any time.
    """

    __tablename__ = "digest"

    take_id: Mapped[int] = mapped_column(ForeignKey("take.id"), primary_key=True)
    run_id: Mapped[int] = mapped_column(ForeignKey("run.id"))
    spans: Mapped[bytes] = mapped_column(LargeBinary)
    nets: Mapped[bytes] = mapped_column(LargeBinary)
    doubtful: Mapped[int]
    rejected: Mapped[int]
