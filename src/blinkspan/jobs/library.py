"""Make, check, save and renew a library."""

from collections.abc import Callable, Iterator
from importlib.metadata import version
from pathlib import Path

from blinkspan.library import Library
from blinkspan.library.backup import Copied
from blinkspan.library.backup import backup as backed_up
from blinkspan.library.backup import restore as restored
from blinkspan.library.check import check as checked
from blinkspan.library.findings import Finding, Weight
from blinkspan.library.place import SQLITE

__all__ = ["Copied", "Finding", "Weight", "backup", "check", "init", "restore", "upgrade"]


def init(folder: Path, database: str | None = None) -> str:
    """Return where the rows of a new library are kept, after making it.

    Parameters
    ----------
    database : str | None
        The SQLAlchemy URL of an empty database; None for a file in the folder.
    """
    with Library.init(folder, database or SQLITE, made_by=version("blinkspan")) as made:
        return made.database.shown


def check(folder: Path, progress: Callable[[int], None] = lambda _bytes: None) -> Iterator[Finding]:
    """Yield what is not as it should be in a library, after repairing what can be rebuilt."""
    with Library.open(folder) as library:
        yield from checked(library, progress)


def clip_bytes(folder: Path) -> int:
    """Return how many bytes of clips a check reads."""
    with Library.open(folder) as library:
        return sum(take.size_bytes for take in library.takes())


def backup(folder: Path, target: Path) -> Iterator[Copied | Finding | Path]:
    """Yield each step of a backup of a library, and last the folder that holds it."""
    with Library.open(folder) as library:
        yield from backed_up(library, target)


def restore(
    source: Path, folder: Path, database: str | None = None
) -> Iterator[Copied | Finding | Path]:
    """Yield each step of making a library of a backup, and last its folder."""
    yield from restored(source, folder, database or SQLITE)


def upgrade(folder: Path) -> tuple[str, str]:
    """Return the schema a library had and the one it has now."""
    return Library.upgrade(folder)
