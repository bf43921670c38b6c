"""Small pictures of a take's frames as a file beside the database: quick to show, and rebuilt.

One SQLite file a take, by its hash: several programs may read and fill it at
once, a program that is ended in the middle leaves whole pictures behind, and
one picture of many thousands is found within a tenth of a millisecond.
"""

import sqlite3
from collections.abc import Iterable
from contextlib import closing, suppress
from pathlib import Path
from threading import Lock
from typing import Self

from blinkspan.errors import UnwritableOutput

# Pictures of another making are thrown away; raised whenever they would look different.
_MAKING = 1
_PATIENCE_S = 5.0


class PreviewCache:
    """The small pictures of one take; safe to share by threads, closed by :meth:`close`."""

    def __init__(self, rows: sqlite3.Connection) -> None:
        self._lock = Lock()
        self._rows = rows

    @classmethod
    def of(cls, folder: Path, sha256: str) -> Self:
        """Return the pictures that a library keeps of a take.

        Raises
        ------
        UnwritableOutput
            The file cannot be made or opened.
        """
        place = preview_place(folder, sha256)
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            try:
                return cls(_opened(place))
            except sqlite3.DatabaseError:  # damaged: what is in it can be made again
                _removed(place)
                return cls(_opened(place))
        except (OSError, sqlite3.Error) as error:
            raise _unwritable(place, error) from error

    def get(self, frame: int) -> bytes | None:
        """Return the picture of a frame, or None where it is not made yet."""
        asked = "SELECT picture FROM pictures WHERE frame = ?"
        with self._lock, suppress(sqlite3.Error):
            found = self._rows.execute(asked, (frame,)).fetchone()
            return None if found is None else bytes(found[0])
        return None

    def missing(self, start: int, stop: int) -> bool:
        """Return whether any frame from start on, stop left out, has no picture yet."""
        asked = "SELECT count(*) FROM pictures WHERE frame >= ? AND frame < ?"
        with self._lock, suppress(sqlite3.Error):
            (held,) = self._rows.execute(asked, (start, stop)).fetchone()
            return int(held) < stop - start
        return True

    def put(self, pictures: Iterable[tuple[int, bytes]]) -> None:
        """Keep pictures of frames; all of them, or none.

        Raises
        ------
        UnwritableOutput
            The disk is full, or the file damaged.
        """
        written = "INSERT OR REPLACE INTO pictures VALUES (?, ?)"
        try:
            with self._lock, self._rows:
                self._rows.executemany(written, pictures)
        except sqlite3.Error as error:
            raise _unwritable(None, error) from error

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            self._rows.close()


def preview_place(folder: Path, sha256: str) -> Path:
    """Return where a library keeps the small pictures of a take."""
    return folder / "cache" / "previews" / sha256[:2] / f"{sha256}.sqlite"


def trim_previews(folder: Path, most_bytes: int, keep: Path) -> None:
    """Remove the files that were opened longest ago while all together are too large."""
    found = []
    for file in (folder / "cache" / "previews").rglob("*.sqlite"):
        with suppress(OSError):
            held = file.stat()
            found.append((held.st_mtime, held.st_size, file))
    total = sum(size for _, size, _ in found)
    for _, size, file in sorted(found):
        if total <= most_bytes:
            return
        if file != keep:
            _removed(file)
            total -= size


def _opened(place: Path) -> sqlite3.Connection:
    rows = sqlite3.connect(place, timeout=_PATIENCE_S, check_same_thread=False)
    try:
        rows.execute("PRAGMA journal_mode = WAL")
        rows.execute("PRAGMA synchronous = OFF")  # what a failing machine loses is made again
        with closing(rows.execute("PRAGMA user_version")) as told, rows:
            if told.fetchone()[0] != _MAKING:
                rows.execute("DROP TABLE IF EXISTS pictures")
                rows.execute("CREATE TABLE pictures (frame INTEGER PRIMARY KEY, picture BLOB)")
                rows.execute(f"PRAGMA user_version = {_MAKING}")
    except BaseException:
        rows.close()
        raise
    with suppress(OSError):
        place.touch()  # so that those not looked at for long are removed first
    return rows


def _unwritable(place: Path | None, error: Exception) -> UnwritableOutput:
    where = "the library's cache" if place is None else str(place.parent)
    return UnwritableOutput(
        f"small pictures cannot be kept in {where} ({error}); "
        "free some space or check the folder's permissions"
    )


def _removed(place: Path) -> None:
    """Remove a file of pictures; on systems that hold open files fast, later."""
    for file in (place, *(place.with_name(place.name + end) for end in ("-wal", "-shm"))):
        with suppress(OSError):
            file.unlink(missing_ok=True)
