"""Display and camera profiles under their names."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from blinkspan.errors import LibraryConflict, NotInLibrary
from blinkspan.library.kept import KeptCamera, KeptDisplay
from blinkspan.library.rows import camera_columns, display_columns, measured
from blinkspan.library.tables import CameraProfileRow, DisplayProfileRow
from blinkspan.profiles import CameraProfile, DisplayProfile

_Kept = TypeVar("_Kept", KeptDisplay, KeptCamera)


def keep_display(
    db: Connection, name: str, profile: DisplayProfile, notes: str, now: datetime, over: int | None
) -> KeptDisplay:
    """Return the display profile after keeping it under a new name, or over revision ``over``."""
    _keep(db, DisplayProfileRow, name, display_columns(profile) | {"notes": notes}, now, over)
    return display(db, name)


def keep_camera(
    db: Connection, name: str, profile: CameraProfile, notes: str, now: datetime, over: int | None
) -> KeptCamera:
    """Return the camera profile after keeping it under a new name, or over revision ``over``."""
    _keep(db, CameraProfileRow, name, camera_columns(profile) | {"notes": notes}, now, over)
    return camera(db, name)


def displays(db: Connection) -> tuple[KeptDisplay, ...]:
    """Return every display profile by name."""
    rows = db.execute(sa.select(DisplayProfileRow.__table__).order_by(DisplayProfileRow.name))
    return tuple(
        KeptDisplay(
            row.id,
            row.name,
            DisplayProfile(measured(row.lag_s, row.lag_u_s), row.refresh_hz, row.game_rate_hz),
            row.notes,
            row.made_at,
            row.revision,
        )
        for row in rows
    )


def cameras(db: Connection) -> tuple[KeptCamera, ...]:
    """Return every camera profile by name."""
    rows = db.execute(sa.select(CameraProfileRow.__table__).order_by(CameraProfileRow.name))
    return tuple(
        KeptCamera(
            row.id,
            row.name,
            CameraProfile(
                measured(row.exposure_s, row.exposure_u_s), measured(row.readout_s, row.readout_u_s)
            ),
            row.notes,
            row.made_at,
            row.revision,
        )
        for row in rows
    )


def display(db: Connection, name: str) -> KeptDisplay:
    """Return the display profile of that name."""
    return _named(displays(db), name, "display")


def camera(db: Connection, name: str) -> KeptCamera:
    """Return the camera profile of that name."""
    return _named(cameras(db), name, "camera")


def profile_id(db: Connection, table: type[Any], name: str | None, kind: str) -> int | None:
    """Return the key of a named profile, or None where no profile is named."""
    if name is None:
        return None
    found: int | None = db.execute(sa.select(table.id).where(table.name == name)).scalar()
    if found is None:
        raise NotInLibrary(f"no {kind} profile is named {name!r}; keep one under that name first")
    return found


def edit(
    db: Connection, table: type[Any], key: int, over: int, values: Mapping[str, Any], what: str
) -> None:
    """Change a row only where its revision is still the one that was read.

    Raises
    ------
    LibraryConflict
        Somebody else changed the row in between.
    """
    done = db.execute(
        sa.update(table)
        .where(table.id == key, table.revision == over)
        .values(**values, revision=over + 1)
    )
    if done.rowcount != 1:
        raise LibraryConflict(
            f"{what} was changed by somebody else since it was read; read it again, then edit"
        )


def _keep(
    db: Connection,
    table: type[Any],
    name: str,
    values: dict[str, Any],
    now: datetime,
    over: int | None,
) -> None:
    kept = db.execute(sa.select(table.id).where(table.name == name)).scalar()
    if kept is None:
        db.execute(sa.insert(table).values(name=name, made_at=now, revision=1, **values))
    elif over is None:
        raise LibraryConflict(f"a profile named {name!r} is kept already; choose another name")
    else:
        # what is said anew is as old as this saying, not as the profile's name
        edit(db, table, kept, over, {**values, "made_at": now}, f"the profile {name!r}")


def _named(kept: tuple[_Kept, ...], name: str, kind: str) -> _Kept:
    for profile in kept:
        if profile.name == name:
            return profile
    raise NotInLibrary(f"no {kind} profile is named {name!r}; keep one under that name first")
