"""Which schema a database has, and how an older one becomes the newest.

A schema is never taken back: a newer library is refused by older code instead
of being cut down to what that code knows.
"""

from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from blinkspan.errors import LibraryConflict, UnusableLibrary
from blinkspan.library.connection import Database

# Oldest first; a test holds this list against the migrations themselves.
REVISIONS = ("0001", "0002", "0003", "0004")
NEWEST = REVISIONS[-1]

# Marks the file as a blinkspan library to SQLite's own tools; "blnk".
APPLICATION_ID = 0x626C6E6B


def revision_of(connection: Connection) -> str | None:
    """Return the schema revision of a database, or None where it holds no library."""
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()


def require_newest(revision: str | None, shown: str) -> None:
    """Return nothing where the revision is the one this program works with.

    Raises
    ------
    UnusableLibrary
        No library at all, an older schema, or a newer one.
    """
    if revision == NEWEST:
        return
    if revision is None:
        raise UnusableLibrary(f"{shown} holds no library; make one with: blinkspan library init")
    if revision in REVISIONS:
        raise UnusableLibrary(
            f"the library {shown} has the older schema {revision}, this program needs {NEWEST}; "
            "run: blinkspan library upgrade"
        )
    raise UnusableLibrary(
        f"the library {shown} has schema {revision}, newer than the {NEWEST} this program knows; "
        "install the newer blinkspan, a library is never taken back to an older schema"
    )


def migrate(database: Database, to: str = "head") -> None:
    """Bring a database, empty or older, to a schema: wholly or not at all."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    with database.migrating() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, to)


def require_empty(database: Database) -> None:
    """Return nothing where the database holds no library yet.

    Raises
    ------
    LibraryConflict
        It holds one.
    """
    with database.reading() as db:
        if revision_of(db) is not None:
            raise LibraryConflict(
                f"the database {database.shown} holds a library already; name an empty database"
            )


def prepare_file(database: Database) -> None:
    """Set what an SQLite file keeps for good: write-ahead log, and whose file it is."""
    with database.engine.connect() as connection:
        raw: Any = connection.connection.dbapi_connection
        raw.execute("PRAGMA journal_mode = WAL")
        raw.execute(f"PRAGMA application_id = {APPLICATION_ID}")
