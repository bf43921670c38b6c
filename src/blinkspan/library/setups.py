"""Studies and their setups, with conditions that can be searched."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import asdict, fields
from datetime import datetime
from operator import attrgetter
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from blinkspan.errors import BadSetting, LibraryConflict, NotInLibrary
from blinkspan.library.kept import KeptSetup, KeptStudy
from blinkspan.library.profiles import edit, profile_id
from blinkspan.library.rows import corner_values, corners_from
from blinkspan.library.tables import (
    CameraProfileRow,
    DisplayProfileRow,
    SetupRow,
    SetupTagRow,
    StudyRow,
    TagRow,
)
from blinkspan.study.setup import Conditions, Setup, Study, reading_order
from blinkspan.traces.regions import Quadrilateral

CONDITIONS = tuple(field.name for field in fields(Conditions))


def add_study(db: Connection, study: Study, now: datetime) -> KeptStudy:
    """Return the study after keeping it under its name."""
    _require_name(study.name, "study")
    if db.execute(sa.select(StudyRow.id).where(StudyRow.name == study.name)).first():
        raise LibraryConflict(f"a study named {study.name!r} is kept already; choose another name")
    db.execute(sa.insert(StudyRow).values(**asdict(study), made_at=now, revision=1))
    return study_named(db, study.name)


def edit_study(db: Connection, key: int, over: int, study: Study) -> KeptStudy:
    """Return the study after changing its words, made on the reading of revision ``over``."""
    _require_name(study.name, "study")
    taken = db.execute(sa.select(StudyRow.id).where(StudyRow.name == study.name)).scalar()
    if taken not in (None, key):
        raise LibraryConflict(f"a study named {study.name!r} is kept already; choose another name")
    edit(db, StudyRow, key, over, asdict(study), f"the study {study.name!r}")
    return study_named(db, study.name)


def studies(db: Connection) -> tuple[KeptStudy, ...]:
    """Return every study by name."""
    rows = db.execute(sa.select(StudyRow.__table__)).all()
    return tuple(
        KeptStudy(row.id, Study(row.name, row.question, row.notes), row.made_at, row.revision)
        for row in sorted(rows, key=lambda row: (reading_order(row.name), row.id))
    )


def study_named(db: Connection, name: str) -> KeptStudy:
    """Return the study of that name."""
    for kept in studies(db):
        if kept.study.name == name:
            return kept
    known = ", ".join(repr(kept.study.name) for kept in studies(db)[:5]) or "none yet"
    raise NotInLibrary(f"no study is named {name!r}; the library holds {known}")


def add_setup(db: Connection, study: str, setup: Setup, now: datetime) -> KeptSetup:
    """Return the setup after keeping it in a study, under a name not used there yet."""
    _require_name(setup.name, "setup")
    study_id = study_named(db, study).id
    _refuse_taken(db, study_id, study, setup.name, None)
    key = db.execute(
        sa.insert(SetupRow).values(
            study_id=study_id, made_at=now, revision=1, **_columns(db, setup)
        )
    ).inserted_primary_key
    assert key is not None  # both databases return it
    tag(db, key[0], setup.tags)
    return setup_by_id(db, key[0])


def edit_setup(db: Connection, key: int, over: int, setup: Setup) -> KeptSetup:
    """Return the setup after changing it, made on the reading of revision ``over``."""
    _require_name(setup.name, "setup")
    kept = setup_by_id(db, key)
    _refuse_taken(db, study_named(db, kept.study).id, kept.study, setup.name, key)
    edit(db, SetupRow, key, over, _columns(db, setup), f"the setup {setup.name!r}")
    tag(db, key, setup.tags)
    return setup_by_id(db, key)


def set_still(db: Connection, key: int, sha256: str, panel: Quadrilateral | None) -> None:
    """Keep which picture shows the setup's spot, and where the panel lies in it."""
    db.execute(
        sa.update(SetupRow)
        .where(SetupRow.id == key)
        .values(still_sha256=sha256, still_panel=corner_values(panel))
    )


def still_panel(db: Connection, key: int) -> Quadrilateral | None:
    """Return where the panel lies in a setup's still, or None where that is not known."""
    return corners_from(
        db.execute(sa.select(SetupRow.still_panel).where(SetupRow.id == key)).scalar()
    )


def stills(db: Connection) -> tuple[str, ...]:
    """Return the hash of every setup's still."""
    hashes = db.execute(sa.select(SetupRow.still_sha256).where(SetupRow.still_sha256.is_not(None)))
    return tuple(sha256 for (sha256,) in hashes if sha256 is not None)


def setup_by_id(db: Connection, key: int) -> KeptSetup:
    """Return the setup of that key."""
    found = _setups(db, SetupRow.id == key)
    if not found:
        raise NotInLibrary(f"no setup has the key {key}; list the setups to see what is kept")
    return found[0]


def setup_named(db: Connection, study: str, name: str) -> KeptSetup:
    """Return the setup of that name in a study."""
    study_id = study_named(db, study).id
    found = _setups(db, sa.and_(SetupRow.study_id == study_id, SetupRow.name == name))
    if not found:
        raise NotInLibrary(f"the study {study!r} has no setup named {name!r}; add it first")
    return found[0]


def find_setups(
    db: Connection, study: str | None, like: Mapping[str, str], text: str | None, tag: str | None
) -> tuple[KeptSetup, ...]:
    """Return the setups that match everything asked for, by study and name.

    Parameters
    ----------
    like : mapping
        Condition name to the exact words it must have.
    text : str | None
        Words that any condition, the name or the notes must contain, in any case.
    tag : str | None
        A tag the setup must bear.
    """
    unknown = sorted(set(like) - set(CONDITIONS))
    if unknown:
        raise BadSetting(
            f"{unknown[0]!r} is no condition of a setup; use one of {', '.join(CONDITIONS)}"
        )
    asked = [getattr(SetupRow, name) == words for name, words in like.items()]
    if study is not None:
        asked.append(SetupRow.study_id == study_named(db, study).id)
    if text:
        asked.append(
            sa.or_(
                *(
                    getattr(SetupRow, name).icontains(text, autoescape=True)
                    for name in ("name", *CONDITIONS)
                )
            )
        )
    if tag is not None:
        bearers = (
            sa.select(SetupTagRow.setup_id)
            .join(TagRow, TagRow.id == SetupTagRow.tag_id)
            .where(TagRow.name == tag)
        )
        asked.append(SetupRow.id.in_(bearers))
    return _setups(db, sa.and_(sa.true(), *asked))


def _setups(db: Connection, asked: sa.ColumnElement[bool]) -> tuple[KeptSetup, ...]:
    rows = db.execute(
        sa.select(
            SetupRow.__table__,
            StudyRow.name.label("study"),
            DisplayProfileRow.name.label("display"),
            CameraProfileRow.name.label("camera"),
        )
        .select_from(SetupRow)
        .join(StudyRow, StudyRow.id == SetupRow.study_id)
        .outerjoin(DisplayProfileRow, DisplayProfileRow.id == SetupRow.display_profile_id)
        .outerjoin(CameraProfileRow, CameraProfileRow.id == SetupRow.camera_profile_id)
        .where(asked)
    ).all()
    tags: dict[int, list[str]] = defaultdict(list)
    borne = (
        sa.select(SetupTagRow.setup_id, TagRow.name)
        .join(TagRow, TagRow.id == SetupTagRow.tag_id)
        .join(SetupRow, SetupRow.id == SetupTagRow.setup_id)
        .join(StudyRow, StudyRow.id == SetupRow.study_id)
        .where(asked)
        .order_by(TagRow.name)
    )
    for setup_id, name in db.execute(borne):
        tags[setup_id].append(name)
    ordered = sorted(
        rows, key=lambda row: (reading_order(row.study), reading_order(row.name), row.id)
    )
    return tuple(_setup_from(row, tuple(tags[row.id])) for row in ordered)


_conditions = attrgetter(*CONDITIONS)


def _setup_from(row: Any, tags: tuple[str, ...]) -> KeptSetup:
    conditions = Conditions(*_conditions(row))
    setup = Setup(row.name, conditions, row.display, row.camera, tags)
    return KeptSetup(row.id, row.study, setup, row.still_sha256, row.made_at, row.revision)


def _columns(db: Connection, setup: Setup) -> dict[str, Any]:
    return {
        "name": setup.name,
        **asdict(setup.conditions),
        "display_profile_id": profile_id(db, DisplayProfileRow, setup.display, "display"),
        "camera_profile_id": profile_id(db, CameraProfileRow, setup.camera, "camera"),
    }


def tag(db: Connection, key: int, tags: tuple[str, ...]) -> None:
    """Let a setup bear these tags and no others."""
    db.execute(sa.delete(SetupTagRow).where(SetupTagRow.setup_id == key))
    for name in dict.fromkeys(tags):
        _require_name(name, "tag")
        tag_id = db.execute(sa.select(TagRow.id).where(TagRow.name == name)).scalar()
        if tag_id is None:
            made = db.execute(sa.insert(TagRow).values(name=name)).inserted_primary_key
            assert made is not None  # both databases return it
            tag_id = made[0]
        db.execute(sa.insert(SetupTagRow).values(setup_id=key, tag_id=tag_id))


def _refuse_taken(db: Connection, study_id: int, study: str, name: str, but: int | None) -> None:
    asked = sa.select(SetupRow.id).where(SetupRow.study_id == study_id, SetupRow.name == name)
    taken = db.execute(asked).scalar()
    if taken not in (None, but):
        raise LibraryConflict(
            f"the study {study!r} has a setup named {name!r} already; choose another name"
        )


def _require_name(name: str, what: str) -> None:
    if not name.strip() or len(name) > 200 or not name.isprintable():
        raise BadSetting(
            f"{name[:40]!r} cannot name a {what}; use 1 to 200 printable characters in one line"
        )
