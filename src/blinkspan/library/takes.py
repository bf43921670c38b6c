"""Takes: rows that tell which clips are kept, and where."""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from blinkspan.errors import LibraryConflict, NotInLibrary
from blinkspan.library.kept import Keeping, KeptTake
from blinkspan.library.rows import region_values, regions_from
from blinkspan.library.tables import (
    CorrectionRow,
    RegionSetRow,
    RunRow,
    SetupRow,
    StudyRow,
    TakeRow,
)
from blinkspan.traces.regions import Regions

# Who made a region set or a verdict where it was not a person.
PROGRAM = "program"

# What the migrations write of themselves.
_SCHEMA: sa.Select[Any] = sa.select(sa.column("version_num")).select_from(
    sa.table("alembic_version")
)


def take_by_hash(db: Connection, sha256: str) -> KeptTake | None:
    """Return the kept take with those bytes, or None."""
    found = _takes(db, TakeRow.sha256 == sha256)
    return found[0] if found else None


def take_by_id(db: Connection, key: int) -> KeptTake:
    """Return the kept take of that key."""
    found = _takes(db, TakeRow.id == key)
    if not found:
        raise _unknown(key)
    return found[0]


def stamp(db: Connection, key: int) -> tuple[str | None, tuple[Any, ...]]:
    """Return the schema's revision, and what changes with all that is kept of a take."""

    def last(of: type[RunRow | CorrectionRow | RegionSetRow]) -> sa.ScalarSelect[int]:
        return sa.select(sa.func.max(of.id)).where(of.take_id == key).scalar_subquery()

    row = db.execute(
        sa.select(
            _SCHEMA.scalar_subquery(),
            TakeRow.__table__,
            SetupRow.revision,
            SetupRow.still_sha256,
            StudyRow.revision,
            last(RunRow),
            last(CorrectionRow),
            last(RegionSetRow),
        )
        .join(SetupRow, SetupRow.id == TakeRow.setup_id)
        .join(StudyRow, StudyRow.id == SetupRow.study_id)
        .where(TakeRow.id == key, TakeRow.state == "kept")
    ).first()
    if row is None:
        raise _unknown(key)
    revision, *rest = row
    return revision, tuple(rest)


def takes(db: Connection, setup_id: int | None, study_id: int | None) -> tuple[KeptTake, ...]:
    """Return the kept takes of a setup, of a study or of the whole library, oldest first."""
    asked: list[sa.ColumnElement[bool]] = [sa.true()]
    if setup_id is not None:
        asked.append(TakeRow.setup_id == setup_id)
    if study_id is not None:
        asked.append(SetupRow.study_id == study_id)
    return _takes(db, sa.and_(*asked))


def arriving(db: Connection) -> tuple[KeptTake, ...]:
    """Return the takes whose bytes are not yet known to be in place."""
    return _takes(db, sa.true(), state="arriving")


def announce(db: Connection, values: dict[str, Any], now: datetime) -> str:
    """Return the name of a take after writing that it is on its way.

    The first name of the same bytes stays, so that all who bring them at once
    put them in one place. An earlier, cut-off announcement is taken over.

    Raises
    ------
    LibraryConflict
        The same bytes are kept already in another setup.
    """
    kept = db.execute(
        sa.select(TakeRow.id, TakeRow.setup_id, TakeRow.state, TakeRow.name).where(
            TakeRow.sha256 == values["sha256"]
        )
    ).first()
    if kept is None:
        db.execute(sa.insert(TakeRow).values(**values, state="arriving", added_at=now))
        return str(values["name"])
    if kept.state == "arriving":
        taken_over = values | {"name": kept.name}
        db.execute(sa.update(TakeRow).where(TakeRow.id == kept.id).values(**taken_over))
    elif kept.setup_id != values["setup_id"]:
        other = db.execute(
            sa.select(SetupRow.name).where(SetupRow.id == kept.setup_id)
        ).scalar_one()
        raise LibraryConflict(
            f"{values['name']} is kept already as {kept.name!r} in the setup {other!r}; "
            "one take belongs to one setup"
        )
    return str(kept.name)


def settle(db: Connection, values: dict[str, Any], now: datetime) -> None:
    """Write that the bytes of an announced take are in place.

    A check that ran in between may have taken the announcement for a cut-off one.
    """
    done = db.execute(
        sa.update(TakeRow).where(TakeRow.sha256 == values["sha256"]).values(state="kept")
    )
    if done.rowcount == 0:
        db.execute(sa.insert(TakeRow).values(**values, state="kept", added_at=now))


def finish(db: Connection, sha256: str) -> None:
    """Write that an announced take, left behind, was found to be in place."""
    db.execute(sa.update(TakeRow).where(TakeRow.sha256 == sha256).values(state="kept"))


def supply(db: Connection, sha256: str, keeping: Keeping, source: str) -> None:
    """Write that a take whose clip was missing has its bytes here now."""
    db.execute(
        sa.update(TakeRow)
        .where(TakeRow.sha256 == sha256)
        .values(keeping=keeping.value, source=source)
    )


def forget_arriving(db: Connection, sha256: str) -> None:
    """Remove the announcement of a take that never came."""
    db.execute(sa.delete(TakeRow).where(TakeRow.sha256 == sha256, TakeRow.state == "arriving"))


def keep_regions(db: Connection, take_id: int, regions: Regions, by: str, now: datetime) -> int:
    """Return the key of a take's region set, made anew only where it is not kept yet."""
    values = region_values(regions)
    latest = db.execute(
        sa.select(RegionSetRow.__table__)
        .where(RegionSetRow.take_id == take_id, RegionSetRow.by == by)
        .order_by(RegionSetRow.id.desc())
        .limit(1)
    ).first()
    if latest is not None and all(getattr(latest, name) == values[name] for name in values):
        key: int = latest.id
        return key
    made = db.execute(
        sa.insert(RegionSetRow).values(take_id=take_id, by=by, made_at=now, **values)
    ).inserted_primary_key
    assert made is not None  # both databases return it
    return int(made[0])


def given_regions(db: Connection, take_id: int) -> Regions | None:
    """Return the regions a person last gave for a take, or None where nobody did."""
    row = db.execute(
        sa.select(RegionSetRow.__table__)
        .where(RegionSetRow.take_id == take_id, RegionSetRow.by != PROGRAM)
        .order_by(RegionSetRow.id.desc())
        .limit(1)
    ).first()
    return None if row is None else regions_from(row)


def _unknown(key: int) -> NotInLibrary:
    return NotInLibrary(f"no take has the key {key}; list the takes to see what is kept")


def _takes(
    db: Connection, asked: sa.ColumnElement[bool], state: str = "kept"
) -> tuple[KeptTake, ...]:
    rows = db.execute(
        sa.select(TakeRow.__table__)
        .join(SetupRow, SetupRow.id == TakeRow.setup_id)
        .where(asked, TakeRow.state == state)
        .order_by(TakeRow.id)
    )
    return tuple(
        KeptTake(
            row.id,
            row.sha256,
            row.name,
            row.size_bytes,
            row.setup_id,
            Keeping(row.keeping),
            row.source,
            row.added_at,
        )
        for row in rows
    )
