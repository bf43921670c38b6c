"""The library's folder: its settings file, its database's address, its parts.

library.toml      which database; its presence makes the folder a library
library.sqlite    the database, unless the settings name a team's
media/            clips by content hash
cache/            rebuildable: may be deleted at any time
"""

import tomllib
from pathlib import Path

from blinkspan.errors import LibraryConflict, UnusableLibrary
from blinkspan.library.connection import Database, database_url

SETTINGS = "library.toml"
SQLITE = "library.sqlite"
_OURS = {SQLITE, f"{SQLITE}-wal", f"{SQLITE}-shm", "media", "cache"}


def require_free(folder: Path) -> None:
    """Return nothing where a library may be made in ``folder``; leftovers of a cut-off try may lie.

    Raises
    ------
    LibraryConflict
        It is a library already, or holds other files.
    UnusableLibrary
        It is a file, or may not be looked into.
    """
    try:
        held = {entry.name for entry in folder.iterdir()} if folder.exists() else set()
    except NotADirectoryError as error:
        raise UnusableLibrary(f"{folder} is a file; name a folder for the library") from error
    except OSError as error:
        raise UnusableLibrary(
            f"{folder} cannot be looked into ({error.strerror}); check its permissions"
        ) from error
    if SETTINGS in held:
        raise LibraryConflict(f"{folder} is a library already; open it or choose another folder")
    others = sorted(held - _OURS)
    if others:
        raise LibraryConflict(
            f"{folder} holds other files ({others[0]}); choose an empty or a new folder"
        )


def write_settings(folder: Path, database: str) -> None:
    """Make the folder a library by writing its settings, whole or not at all."""
    quoted = database.replace("\\", "\\\\").replace('"', '\\"')
    part = folder / f"{SETTINGS}.part"
    part.write_text(
        "# A blinkspan library: the results are in the database, the clips in media/.\n"
        "# database: a file in this folder, or an address such as\n"
        "# postgresql+psycopg://user@host/name (keep its password out of this file).\n"
        f'database = "{quoted}"\n',
        encoding="utf-8",
    )
    part.replace(folder / SETTINGS)


def database_of(folder: Path) -> Database:
    """Return the database that a library's settings name.

    Raises
    ------
    UnusableLibrary
        The folder is no library, or its settings cannot be read.
    """
    settings = folder / SETTINGS
    try:
        text = settings.read_text(encoding="utf-8")
    except (FileNotFoundError, NotADirectoryError) as error:
        raise UnusableLibrary(
            f"{folder} is not a library; make one with: blinkspan library init {folder}"
        ) from error
    except (OSError, UnicodeDecodeError) as error:
        raise UnusableLibrary(
            f"{settings} cannot be read ({error}); check its permissions"
        ) from error
    try:
        database = tomllib.loads(text)["database"]
    except (tomllib.TOMLDecodeError, KeyError) as error:
        raise UnusableLibrary(
            f'{settings} names no database; it needs a line: database = "{SQLITE}"'
        ) from error
    if not isinstance(database, str) or not database:
        raise UnusableLibrary(f'{settings} names no database; it needs: database = "{SQLITE}"')
    url = database_url(database, folder)
    if url.get_backend_name() == "sqlite":
        _require_file(Path(url.database or ""))
    return Database(url)


def _require_file(path: Path) -> None:
    """Refuse a missing or unreadable SQLite file, which SQLite would make anew or call locked."""
    if not path.is_file():
        raise UnusableLibrary(f"{path} is missing; restore the library from a backup")
    try:
        with path.open("rb+") as file:
            head = file.read(16)
    except OSError as error:
        raise UnusableLibrary(
            f"{path} may not be read and written ({error.strerror}); check its permissions"
        ) from error
    if head and head != b"SQLite format 3\x00":
        raise UnusableLibrary(
            f"{path} is not a database of the library; restore the library from a backup"
        )
