"""Is everything that was kept still there, and still as it was?

Only what can be built again is repaired: leftovers of cut-off copies, damaged
cached traces, digests. A lost or changed clip, a damaged result or a file that
nobody knows is told and left alone.
"""

import time
from collections.abc import Iterator
from pathlib import Path

import sqlalchemy as sa

from blinkspan.library import rows, setups, takes
from blinkspan.library.findings import Finding, Weight
from blinkspan.library.kept import Keeping, KeptTake
from blinkspan.library.media import Progress, file_sha256
from blinkspan.library.overview import refresh_digest
from blinkspan.library.store import STILL_ENDING, Library
from blinkspan.library.tables import PressRow, RegionSetRow, RunRow
from blinkspan.library.trace_cache import cached, cached_at

# A copy that is still going on elsewhere touches its part file more often than this.
_LEFT_BEHIND_S = 3600.0


def check(library: Library, progress: Progress = lambda _bytes: None) -> Iterator[Finding]:
    """Yield everything that is not as it should be; a sound library yields no problem.

    Reads every kept clip and every press once; other programs may go on working.

    Parameters
    ----------
    progress : callable
        Told the bytes of clips read since the last call.
    """
    yield from _database(library)
    files = list(library.media.files())  # before the takes: a newer clip is not a stray one
    with library.database.reading() as db:
        kept = takes.takes(db, None, None)
        coming = takes.arriving(db)
    yield from _arriving(library, coming)
    yield from _clips(library, kept, progress)
    yield from _strays(library, files, {take.sha256 for take in (*kept, *coming)})
    yield from _runs(library, kept)
    yield from _traces(library)


def _problem(text: str) -> Finding:
    return Finding(Weight.PROBLEM, text)


def _database(library: Library) -> Iterator[Finding]:
    if not library.database.is_sqlite:
        return  # a server holds its own foreign keys and pages
    with library.database.reading() as db:
        for (told,) in db.execute(sa.text("PRAGMA integrity_check")):
            if told != "ok":
                yield _problem(f"the database is damaged ({told}); restore a backup")
        for table, row_id, parent, _ in db.execute(sa.text("PRAGMA foreign_key_check")):
            yield _problem(
                f"row {row_id} of {table} points at a {parent} that is not there; restore a backup"
            )


def _arriving(library: Library, coming: tuple[KeptTake, ...]) -> Iterator[Finding]:
    """Finish takes whose clip came whole; leave young ones to whoever brings them."""
    for take in coming:
        place = library.clip(take)
        if place.is_file() and file_sha256(place) == take.sha256:
            with library.database.writing() as db:
                takes.finish(db, take.sha256)
            yield Finding(
                Weight.REPAIRED, f"{take.name!r} had come whole before it was cut off; kept"
            )
        elif (library.now() - take.added_at).total_seconds() > _LEFT_BEHIND_S:
            with library.database.writing() as db:
                takes.forget_arriving(db, take.sha256)
            yield Finding(
                Weight.REPAIRED,
                f"{take.name!r} never came whole; forgotten, add it again from {take.source}",
            )
        else:
            yield Finding(
                Weight.NOTE, f"{take.name!r} is on its way, or was cut off: then add it again"
            )


def _clips(library: Library, kept: tuple[KeptTake, ...], progress: Progress) -> Iterator[Finding]:
    for take in kept:
        if take.keeping is Keeping.ELSEWHERE:
            continue
        place = library.clip(take)
        if not place.is_file():
            yield _problem(
                f"the clip of {take.name!r} is missing ({place}); "
                "add the file again or restore a backup"
            )
        elif file_sha256(place, progress) != take.sha256:
            yield _problem(
                f"the clip of {take.name!r} was changed since it was added ({place}); "
                "restore it from a backup"
            )


def _strays(
    library: Library, files: list[tuple[Path, str | None]], known: set[str]
) -> Iterator[Finding]:
    with library.database.reading() as db:
        known |= set(setups.stills(db))
    for path, claimed in files:
        if path.name.endswith(".part"):
            yield from _left_over(path)
        elif claimed is None:
            yield _problem(f"{path} is not a file of the library; move it elsewhere")
        elif claimed not in known and path.suffix == STILL_ENDING:
            yield from _left_over(path)  # a still that another has replaced, made anew from a take
        elif claimed not in known:
            yield _problem(f"{path} belongs to no take; add it to a setup or move it elsewhere")


def _left_over(path: Path) -> Iterator[Finding]:
    try:
        age_s = time.time() - path.stat().st_mtime
        if age_s <= _LEFT_BEHIND_S:
            yield Finding(Weight.NOTE, f"{path.name} is being written, or was left over")
            return
        path.unlink()
    except FileNotFoundError:
        return  # finished meanwhile
    yield Finding(Weight.REPAIRED, f"{path.name} was left over; removed")


def _runs(library: Library, kept: tuple[KeptTake, ...]) -> Iterator[Finding]:
    for take in kept:
        with library.database.reading() as db:
            runs = db.execute(
                sa.select(
                    RunRow.__table__,
                    RegionSetRow.lamp,
                    RegionSetRow.panel,
                    RegionSetRow.watch,
                    RegionSetRow.proposed,
                )
                .join(RegionSetRow, RegionSetRow.id == RunRow.region_set_id)
                .where(RunRow.take_id == take.id)
            ).all()
            for run in runs:
                presses = db.execute(
                    sa.select(PressRow.__table__)
                    .where(PressRow.run_id == run.id)
                    .order_by(PressRow.number)
                )
                found = [rows.press_row(rows.press_from(press)) for press in presses]
                regions = rows.region_values(rows.regions_from(run))
                if rows.seal(run._asdict(), regions, found) != run.seal:
                    yield _problem(
                        f"run {run.id} of {take.name!r} no longer holds what it found; "
                        "restore a backup"
                    )
        with library.database.writing() as db:
            stale = refresh_digest(db, take.id)
        if stale:
            yield Finding(Weight.REPAIRED, f"the digest of {take.name!r} was built again")


def _traces(library: Library) -> Iterator[Finding]:
    with library.database.reading() as db:
        wanted = set(db.execute(sa.select(RunRow.traces_sha256)).scalars().all())
    missing = 0
    for digest in sorted(wanted):
        place = cached_at(library.folder, digest)
        if cached(library.folder, digest) is not None:
            continue
        missing += 1
        if place.exists():
            place.unlink()
            yield Finding(Weight.REPAIRED, f"the damaged traces {place.name} were removed")
    if missing:
        yield Finding(Weight.NOTE, f"{missing} runs have no cached traces; measuring builds them")
    for path in sorted((library.folder / "cache").rglob("*")):
        if path.name.endswith(".part"):
            yield from _left_over(path)
