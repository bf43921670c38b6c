"""A whole study as plain tables, and such tables as a study of another library.

Keys are made anew on the way in; what points at what, what was measured, by
what, and what a person said of it stay as they were.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from blinkspan.errors import BadPackage, LibraryConflict
from blinkspan.library import rows, setups
from blinkspan.library.connection import insert_many
from blinkspan.library.kept import Keeping
from blinkspan.library.overview import refresh_digest
from blinkspan.library.tables import (
    PRESS_TABLE,
    CameraProfileRow,
    CorrectionRow,
    DisplayProfileRow,
    PressRow,
    RegionSetRow,
    RunRow,
    SetupRow,
    SetupTagRow,
    StudyRow,
    TagRow,
    TakeRow,
)

Row = dict[str, Any]
Tables = dict[str, list[Row]]
GivenTables = Mapping[str, Sequence[Mapping[str, Any]]]


def study_tables(db: Connection, study: str) -> Tables:
    """Return everything kept under a study: table name to rows, in the order they were made."""
    study_id = setups.study_named(db, study).id
    held = _rows(db, SetupRow, SetupRow.study_id == study_id)
    taken = _rows(
        db, TakeRow, TakeRow.setup_id.in_([row["id"] for row in held]) & (TakeRow.state == "kept")
    )
    take_ids = [row["id"] for row in taken]
    runs = _rows(db, RunRow, RunRow.take_id.in_(take_ids))
    users = [*held, *runs]
    display_rows = _rows(
        db, DisplayProfileRow, DisplayProfileRow.id.in_(_set(users, "display_profile_id"))
    )
    camera_rows = _rows(
        db, CameraProfileRow, CameraProfileRow.id.in_(_set(users, "camera_profile_id"))
    )
    displays = {row["id"]: row["name"] for row in display_rows}
    cameras = {row["id"]: row["name"] for row in camera_rows}
    named = {row["id"]: row["name"] for row in held}
    hashed = {row["id"]: row["sha256"] for row in taken}
    tags = _tags(db, study_id)
    return {
        "study": _rows(db, StudyRow, StudyRow.id == study_id),
        "display": display_rows,
        "camera": camera_rows,
        "setup": [
            row
            | {
                "tags": tags[row["id"]],
                "display": displays.get(row["display_profile_id"]),
                "camera": cameras.get(row["camera_profile_id"]),
            }
            for row in held
        ],
        "take": [row | {"setup": named[row["setup_id"]]} for row in taken],
        "region_set": [
            row | {"take": hashed[row["take_id"]]}
            for row in _rows(db, RegionSetRow, RegionSetRow.take_id.in_(take_ids))
        ],
        "run": [
            row
            | {
                "take": hashed[row["take_id"]],
                "region_set": row["region_set_id"],
                "display_profile": displays.get(row["display_profile_id"]),
                "camera_profile": cameras.get(row["camera_profile_id"]),
            }
            for row in runs
        ],
        "press": [
            row | {"run": row["run_id"]}
            for row in _rows(db, PressRow, PressRow.run_id.in_([row["id"] for row in runs]))
        ],
        "correction": [
            row
            | {
                "take": hashed[row["take_id"]],
                "press": row["press_id"],
                "undoes": row["undoes_id"],
            }
            for row in _rows(db, CorrectionRow, CorrectionRow.take_id.in_(take_ids))
        ],
    }


def bring_study(db: Connection, tables: GivenTables) -> str:
    """Return the name of a study after keeping all that its tables hold.

    Clips do not come with tables: the takes are kept as lying elsewhere until
    their files are added.

    Raises
    ------
    LibraryConflict
        The library holds a study or a profile of that name, or one of the takes.
    BadPackage
        A row holds no value of its kind, or a run is not what it was sealed with.
    """
    if len(tables["study"]) != 1:
        raise BadPackage(f"the package holds {len(tables['study'])} studies, not one; export anew")
    _require_true_runs(tables)
    (study,) = tables["study"]
    if db.execute(sa.select(StudyRow.id).where(StudyRow.name == study["name"])).first():
        raise LibraryConflict(
            f"a study named {study['name']!r} is kept already; rename it before the import"
        )
    profile_keys = {
        "display": _bring_profiles(db, DisplayProfileRow, tables["display"], "display"),
        "camera": _bring_profiles(db, CameraProfileRow, tables["camera"], "camera"),
    }
    study_id = _insert(db, StudyRow, study, revision=1)
    setup_keys = {
        row["name"]: _bring_setup(db, study_id, row, profile_keys) for row in tables["setup"]
    }
    take_keys = {row["sha256"]: _bring_take(db, row, setup_keys) for row in tables["take"]}
    region_keys = {
        row["id"]: _insert(db, RegionSetRow, row, take_id=take_keys[row["take"]])
        for row in tables["region_set"]
    }
    run_keys = {
        row["id"]: _insert(
            db,
            RunRow,
            row,
            take_id=take_keys[row["take"]],
            region_set_id=region_keys[row["region_set"]],
            display_profile_id=profile_keys["display"].get(row["display_profile"]),
            camera_profile_id=profile_keys["camera"].get(row["camera_profile"]),
        )
        for row in tables["run"]
    }
    press_keys = _bring_presses(db, tables["press"], run_keys)
    said_keys: dict[int, int] = {}
    for row in sorted(tables["correction"], key=lambda row: int(row["id"])):
        said_keys[row["id"]] = _insert(
            db,
            CorrectionRow,
            row,
            take_id=take_keys[row["take"]],
            press_id=press_keys[row["press"]],
            undoes_id=None if row["undoes"] is None else said_keys[row["undoes"]],
        )
    for take_id in take_keys.values():
        refresh_digest(db, take_id)
    return str(study["name"])


def _require_true_runs(tables: GivenTables) -> None:
    """Refuse rows that are not what their run was sealed with when it was measured."""
    presses: dict[Any, list[tuple[Any, ...]]] = defaultdict(list)
    regions: dict[Any, Row] = {}
    try:
        for row in sorted(tables["press"], key=lambda row: (row["run"], row["number"])):
            presses[row["run"]].append(rows.press_row(rows.press_from(rows.Named(row))))
        for row in tables["region_set"]:
            regions[row["id"]] = rows.region_values(rows.regions_from(rows.Named(row)))
    except (TypeError, ValueError, KeyError) as error:
        raise BadPackage(f"a press or a region set holds no such value ({error})") from error
    for row in tables["run"]:
        sealed = rows.seal(dict(row), regions[row["region_set"]], presses[row["id"]])
        if sealed != row["seal"]:
            raise BadPackage(
                f"run {row['id']} of the package is not what was measured; export the study anew"
            )


def _bring_profiles(
    db: Connection, table: type[Any], given: Sequence[Mapping[str, Any]], kind: str
) -> dict[str, int]:
    keys = {}
    for row in given:
        kept = db.execute(sa.select(table.__table__).where(table.name == row["name"])).first()
        if kept is None:
            keys[row["name"]] = _insert(db, table, row, revision=1)
        elif all(getattr(kept, name) == value for name, value in row.items() if name != "made_at"):
            keys[row["name"]] = kept.id
        else:
            raise LibraryConflict(
                f"the {kind} profile {row['name']!r} is kept here with other values; "
                "rename one of them before the import"
            )
    return keys


def _bring_setup(
    db: Connection, study_id: int, row: Mapping[str, Any], profile_keys: dict[str, dict[str, int]]
) -> int:
    key = _insert(
        db,
        SetupRow,
        row,
        study_id=study_id,
        revision=1,
        display_profile_id=profile_keys["display"].get(row["display"]),
        camera_profile_id=profile_keys["camera"].get(row["camera"]),
    )
    setups.tag(db, key, tuple(row["tags"]))
    return key


def _bring_take(db: Connection, row: Mapping[str, Any], setup_keys: dict[str, int]) -> int:
    if db.execute(sa.select(TakeRow.id).where(TakeRow.sha256 == row["sha256"])).first():
        raise LibraryConflict(
            f"the take {row['name']!r} of the package is kept here already; "
            "one take belongs to one setup"
        )
    return _insert(
        db,
        TakeRow,
        row,
        setup_id=setup_keys[row["setup"]],
        keeping=Keeping.ELSEWHERE.value,
        source="",
        state="kept",
    )


def _bring_presses(
    db: Connection, given: Sequence[Mapping[str, Any]], run_keys: dict[int, int]
) -> dict[int, int]:
    insert_many(
        db,
        PRESS_TABLE,
        [_own(PressRow, row) | {"run_id": run_keys[row["run"]]} for row in given],
    )
    made = db.execute(
        sa.select(PressRow.run_id, PressRow.number, PressRow.id).where(
            PressRow.run_id.in_(list(run_keys.values()))
        )
    )
    by_place = {(row.run_id, row.number): row.id for row in made}
    return {row["id"]: by_place[run_keys[row["run"]], row["number"]] for row in given}


def _insert(db: Connection, table: type[Any], row: Mapping[str, Any], **more: Any) -> int:
    made = db.execute(sa.insert(table).values(**(_own(table, row) | more))).inserted_primary_key
    assert made is not None  # both databases return it
    return int(made[0])


def _own(table: type[Any], row: Mapping[str, Any]) -> Row:
    """Return the columns that are the table's own, without the other library's key."""
    names = set(table.__table__.columns.keys()) - {"id"}
    return {name: value for name, value in row.items() if name in names}


def _rows(db: Connection, table: type[Any], asked: sa.ColumnElement[bool]) -> list[Row]:
    found = db.execute(sa.select(table.__table__).where(asked).order_by(table.id))
    return [dict(row) for row in found.mappings()]


def _set(users: list[Row], name: str) -> set[int]:
    return {row[name] for row in users if row[name] is not None}


def _tags(db: Connection, study_id: int) -> dict[int, list[str]]:
    tags: dict[int, list[str]] = defaultdict(list)
    borne = (
        sa.select(SetupTagRow.setup_id, TagRow.name)
        .join(TagRow, TagRow.id == SetupTagRow.tag_id)
        .join(SetupRow, SetupRow.id == SetupTagRow.setup_id)
        .where(SetupRow.study_id == study_id)
        .order_by(TagRow.name)
    )
    for setup_id, name in db.execute(borne):
        tags[setup_id].append(name)
    return tags
