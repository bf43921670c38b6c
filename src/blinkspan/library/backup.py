"""Backups: dated snapshots of the database beside one pool of clips.

    BACKUPS/media/ab/<hash>.mp4          each clip once, however many backups hold it
    BACKUPS/2026-01-02T03-04-05Z/        library.sqlite and backup.json

A backup carries its final name only once it is whole, so every dated folder is
one that can be restored. Clips left in place stay where they are and are not
part of a backup; how many is told.
"""

import json
import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection

from blinkspan.errors import BadSetting, UnusableLibrary, UnwritableOutput
from blinkspan.library import place, schema, setups, takes
from blinkspan.library.connection import Database, database_url
from blinkspan.library.findings import Finding, Weight
from blinkspan.library.kept import Keeping
from blinkspan.library.media import Media, file_sha256, sync_folder
from blinkspan.library.overview import refresh_digests
from blinkspan.library.schema import prepare_file, require_empty
from blinkspan.library.snapshot import copy_rows, take_snapshot
from blinkspan.library.store import STILL_ENDING, Library
from blinkspan.library.tables import LibraryRow

_FACTS = "backup.json"
_STALE_S = 3600.0


@dataclass(frozen=True, slots=True)
class Copied:
    """How far a backup or a restoring has come."""

    name: str
    done: int
    of: int


def backup(library: Library, target: Path) -> Iterator[Copied | Finding | Path]:
    """Yield each step of making a backup, and last the folder that holds it.

    Raises
    ------
    BadSetting
        The target lies inside the library.
    UnwritableOutput
        The target cannot be written; earlier backups are as they were.
    """
    target = target.absolute()
    if target.resolve().is_relative_to(library.folder.resolve()):
        raise BadSetting(f"{target} lies inside the library; back up to another place")
    moment = library.now().astimezone(UTC).strftime("%Y-%m-%dT%H-%M-%S.%fZ")
    part = target / f"{moment}.part"
    pool = Media(target / "media")
    try:
        _clear_stale(target)
        part.mkdir(parents=True)
        take_snapshot(library.database, part / place.SQLITE)
        with library.database.reading() as db:
            uuid = db.execute(sa.select(LibraryRow.uuid)).scalar_one()
        yield from _copy_clips(library, pool)
        facts = {
            "library": uuid,
            "schema": schema.NEWEST,
            "made_at": library.now().astimezone(UTC).isoformat(),
            "sha256": file_sha256(part / place.SQLITE),
        }
        (part / _FACTS).write_text(json.dumps(facts, indent=1) + "\n", encoding="utf-8")
        whole = target / moment
        part.rename(whole)
        sync_folder(target)
    except OSError as error:
        if isinstance(error, UnwritableOutput | UnusableLibrary):
            raise
        raise UnwritableOutput(
            f"the backup could not be written to {target} ({error.strerror}); free some space "
            "or choose another place, earlier backups are as they were"
        ) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)  # gone already where it became whole
    yield whole


def restore(
    source: Path, folder: Path, database: str = place.SQLITE
) -> Iterator[Copied | Finding | Path]:
    """Yield each step of making a library of a backup, and last its folder.

    Parameters
    ----------
    source : Path
        A dated folder of a backup, or the folder of backups: then its latest.
    folder : Path
        Empty or not there yet.
    database : str
        A file name in the folder, or the URL of an empty database.

    Raises
    ------
    UnusableLibrary
        There is no whole backup, or it was changed since it was made.
    LibraryConflict
        The folder or the database holds something already.
    """
    source = _dated(source)
    facts = _facts(source)
    snapshot = source / place.SQLITE
    if file_sha256(snapshot) != facts["sha256"]:
        raise UnusableLibrary(f"{snapshot} was changed since it was made; use another backup")
    place.require_free(folder)
    pool, media = Media(source.parent / "media"), Media(folder / "media")
    kept = Database(database_url(database, folder))
    try:
        media.folder.mkdir(parents=True, exist_ok=True)
        if not kept.is_sqlite:
            require_empty(kept)
        file = Path(kept.url.database or "") if kept.is_sqlite else folder / place.SQLITE
        copy = _brought_to_newest(snapshot, file)
        with copy.reading() as db:
            yield from _bring_clips(db, pool, media)
            if not kept.is_sqlite:
                schema.migrate(kept)
                with kept.writing() as write:
                    copy_rows(db, write)
        copy.close()
        if not kept.is_sqlite:
            file.unlink()
        place.write_settings(folder, database)
    except OSError as error:
        if isinstance(error, UnwritableOutput | UnusableLibrary):
            raise
        raise UnwritableOutput(
            f"the library could not be written to {folder} ({error.strerror}); free some space "
            "or choose another place, then run the same command again"
        ) from error
    finally:
        kept.close()
    yield folder


def _copy_clips(library: Library, pool: Media) -> Iterator[Copied | Finding]:
    with library.database.reading() as db:
        kept = takes.takes(db, None, None)
        stills = setups.stills(db)
    inside = [take for take in kept if take.keeping in (Keeping.COPY, Keeping.LINK)]
    for done, take in enumerate(inside, start=1):
        clip = library.clip(take)
        if not clip.is_file():
            yield Finding(
                Weight.PROBLEM, f"the clip of {take.name!r} is missing and not in the backup"
            )
            continue
        pool.copy_in(clip, take.sha256, take.name)
        yield Copied(take.name, done, len(inside))
    for still in stills:
        place = library.media.place(still, f"still{STILL_ENDING}")
        if place.is_file():
            pool.copy_in(place, still, place.name)
    left = sum(take.keeping is Keeping.IN_PLACE for take in kept)
    if left:
        yield Finding(Weight.NOTE, f"{left} clips left in place are not part of the backup")


def _bring_clips(db: Connection, pool: Media, media: Media) -> Iterator[Copied | Finding]:
    kept = takes.takes(db, None, None)
    inside = [take for take in kept if take.keeping in (Keeping.COPY, Keeping.LINK)]
    for done, take in enumerate(inside, start=1):
        clip = pool.place(take.sha256, take.name)
        if not clip.is_file():
            yield Finding(Weight.PROBLEM, f"the backup has no clip of {take.name!r}")
            continue
        media.copy_in(clip, take.sha256, take.name)
        yield Copied(take.name, done, len(inside))
    for still in setups.stills(db):
        place_in_pool = pool.place(still, f"still{STILL_ENDING}")
        if place_in_pool.is_file():
            media.copy_in(place_in_pool, still, place_in_pool.name)


def _brought_to_newest(snapshot: Path, target: Path) -> Database:
    """Return the snapshot's database as a file of the new library, with the newest schema."""
    for leftover in (target, Path(f"{target}-wal"), Path(f"{target}-shm")):
        leftover.unlink(missing_ok=True)
    shutil.copyfile(snapshot, target)
    copy = Database(URL.create("sqlite", database=str(target)))
    with copy.reading() as db:
        revision = schema.revision_of(db)
    if revision not in schema.REVISIONS:
        schema.require_newest(revision, str(snapshot))
    prepare_file(copy)
    if revision != schema.NEWEST:
        schema.migrate(copy)
        with copy.writing() as db:
            refresh_digests(db)
    return copy


def _dated(source: Path) -> Path:
    if (source / _FACTS).is_file():
        return source
    whole = sorted(found.parent for found in source.glob(f"*Z/{_FACTS}"))
    if not whole:
        raise UnusableLibrary(f"{source} holds no whole backup; name the folder of one")
    return whole[-1]


def _facts(source: Path) -> dict[str, str]:
    try:
        facts = json.loads((source / _FACTS).read_text(encoding="utf-8"))
        return {"schema": str(facts["schema"]), "sha256": str(facts["sha256"])}
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise UnusableLibrary(
            f"{source / _FACTS} cannot be read ({error}); use another backup"
        ) from error


def _clear_stale(target: Path) -> None:
    """Remove what backups that were cut off long ago left behind."""
    for part in target.glob("*Z.part"):
        if time.time() - part.stat().st_mtime > _STALE_S:
            shutil.rmtree(part, ignore_errors=True)
