"""A library's database as one file, whatever database it lives in, and back."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection

from blinkspan.errors import UnusableLibrary
from blinkspan.library.connection import Database, insert_many, plain
from blinkspan.library.schema import migrate, revision_of
from blinkspan.library.tables import Table

_CHUNK_ROWS = 5000


def take_snapshot(database: Database, target: Path) -> None:
    """Write the database's present state to an SQLite file, while others go on working."""
    if database.is_sqlite:
        _copy_pages(Path(database.url.database or ""), target)
    else:
        copy = Database(URL.create("sqlite", database=str(target)))
        migrate(copy)
        with database.reading() as read, copy.writing() as write:
            copy_rows(read, write)
        copy.close()
    _settle(target)


def copy_rows(read: Connection, write: Connection) -> None:
    """Copy every row of every table into tables that are empty.

    Raises
    ------
    UnusableLibrary
        The two databases do not have the same schema.
    """
    if revision_of(read) != revision_of(write):
        raise UnusableLibrary(
            f"the schemas differ ({revision_of(read)} and {revision_of(write)}); "
            "upgrade the older library first"
        )
    for table in Table.metadata.sorted_tables:
        for rows in _chunks(read, table):
            insert_many(write, table, rows)
        if write.dialect.name == "postgresql" and "id" in table.columns:
            # rows that brought their own keys left the counter behind
            write.execute(
                sa.text(
                    "SELECT setval(pg_get_serial_sequence(:name, 'id'), "
                    f"coalesce((SELECT max(id) FROM {table.name}), 0) + 1, false)"
                ),
                {"name": table.name},
            )


def _chunks(read: Connection, table: sa.Table) -> Iterator[list[dict[str, Any]]]:
    streamed = read.execution_options(stream_results=True, yield_per=_CHUNK_ROWS)
    rows = streamed.execute(sa.select(table).order_by(*table.primary_key.columns))
    for chunk in rows.mappings().partitions():
        yield [dict(row) for row in chunk]


def _copy_pages(source: Path, target: Path) -> None:
    """SQLite's own online backup: pages as of one moment, writers not held up."""
    try:
        with (
            closing(sqlite3.connect(source, timeout=30)) as read,
            closing(sqlite3.connect(target)) as write,
        ):
            read.backup(write)
    except sqlite3.Error as error:
        raise plain(error, str(target)) from error


def _settle(target: Path) -> None:
    """Make the copy one file without a log beside it, sound and on the disk."""
    with closing(sqlite3.connect(target)) as copy:
        copy.execute("PRAGMA journal_mode = DELETE")
        told = copy.execute("PRAGMA integrity_check").fetchone()[0]
    if told != "ok":
        raise UnusableLibrary(
            f"the copy {target} is damaged ({told}); run: blinkspan library check"
        )
    with target.open("rb+") as file:
        os.fsync(file.fileno())
