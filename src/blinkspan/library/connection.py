"""The one way to the database: short transactions, one writer at a time, refusals in plain words.

SQLite lets one process write at a time and answers "database is locked" to the
others. Two habits keep that from anyone's eyes: every writing transaction takes
the lock at its start (``BEGIN IMMEDIATE``; a reader that turns writer half way
cannot be made to wait), and waiting for it is repeated for up to a minute. In
PostgreSQL an advisory lock gives the same order of one writer after another.

References
----------
SQLite documentation, "Write-Ahead Logging" and "Transaction": WAL readers and
one writer do not block each other; a deferred transaction fails at once with
SQLITE_BUSY when it would have to wait after reading.
"""

import json
import sqlite3
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine, make_url

from blinkspan.errors import BadSetting, BlinkspanError, UnusableLibrary, UnwritableOutput

_ONE_WAIT_S = 5.0  # a single wait inside SQLite
_PATIENCE_S = 60.0  # far above any transaction of ours, which last milliseconds
_WRITER_LOCK = 0x626C6E6B  # any fixed number; "blnk"


class Database:
    """An engine and the two kinds of transaction: reading and writing."""

    def __init__(self, url: URL) -> None:
        self.url = url
        self.is_sqlite = url.get_backend_name() == "sqlite"
        try:
            self.engine = _engine(url)
        except (ImportError, sa.exc.ArgumentError) as missing:
            raise BadSetting(
                f"no driver for the database {url.drivername!r}; "
                "for PostgreSQL install blinkspan[team] and write postgresql+psycopg://…"
            ) from missing

    @property
    def shown(self) -> str:
        """The database as it may be shown: a file's path, or an address without its password."""
        if self.is_sqlite:
            return str(self.url.database)
        return self.url.render_as_string(hide_password=True)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Yield a connection that sees one unchanging state of the library."""
        with self._plain_words(), self.engine.connect() as connection:
            if not self.is_sqlite:
                connection = connection.execution_options(isolation_level="REPEATABLE READ")
            with connection.begin():
                yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Yield the only connection that may write; commit at the end, or nothing at all."""
        with self._plain_words(), self.engine.connect() as connection:
            connection = connection.execution_options(blinkspan_writes=True)
            with connection.begin():
                self._take_turn(connection)
                yield connection

    @contextmanager
    def migrating(self) -> Iterator[Connection]:
        """Yield a writing connection on which tables may be rebuilt.

        SQLite rebuilds a table to alter it; with foreign keys on, dropping the
        old one would take along the rows that point at it. They are held
        against the whole database before the commit instead.
        """
        with self._plain_words(), self.engine.connect() as connection:
            connection = connection.execution_options(blinkspan_writes=True)
            if self.is_sqlite:
                raw: Any = connection.connection.dbapi_connection
                raw.execute("PRAGMA foreign_keys = OFF")
            with connection.begin():
                self._take_turn(connection)
                yield connection
                if self.is_sqlite:
                    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
                    if broken is not None:
                        raise UnusableLibrary(
                            f"the library {self.shown} has rows of {broken[0]} that point at "
                            "nothing; restore it from a backup"
                        )
            connection.invalidate()  # the next user gets one with foreign keys on

    def close(self) -> None:
        """Give back every connection."""
        self.engine.dispose()

    def _take_turn(self, connection: Connection) -> None:
        if self.url.get_backend_name() == "postgresql":
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{_PATIENCE_S:.0f}s'")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITER_LOCK})")

    @contextmanager
    def _plain_words(self) -> Iterator[None]:
        try:
            yield
        except Exception as error:
            ours = isinstance(error, sa.exc.DBAPIError | sqlite3.Error)
            # the driver's own errors come from its bulk copy, which SQLAlchemy does not wrap
            if ours or type(error).__module__.startswith("psycopg"):
                raise plain(error, self.shown) from error
            raise


def database_url(text: str, folder: Path) -> URL:
    """Return the address of the database named in a library's settings.

    Parameters
    ----------
    text : str
        A file name inside ``folder``, or any SQLAlchemy URL.

    Raises
    ------
    BadSetting
        The text is no such address.
    """
    if "://" not in text:
        return URL.create("sqlite", database=str(folder / text))
    try:
        return make_url(text)
    except (sa.exc.ArgumentError, ValueError) as wrong:
        raise BadSetting(
            f"the database address {text!r} cannot be read; "
            "write it as postgresql+psycopg://user@host/name"
        ) from wrong


def insert_many(db: Connection, table: sa.Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Write many rows that have the same columns, by PostgreSQL's bulk copy where it is there."""
    if not rows:
        return
    if db.dialect.driver != "psycopg":
        db.execute(sa.insert(table), list(rows))
        return
    names = list(rows[0])
    spelt = {name for name in names if isinstance(table.c[name].type, sa.JSON)}
    columns = ", ".join(f'"{name}"' for name in names)
    raw: Any = db.connection.driver_connection
    with raw.cursor() as cursor, cursor.copy(f'COPY "{table.name}" ({columns}) FROM STDIN') as copy:
        for row in rows:
            copy.write_row(
                [
                    json.dumps(value) if name in spelt and value is not None else value
                    for name, value in ((name, row[name]) for name in names)
                ]
            )


def plain(error: BaseException, shown: str) -> BlinkspanError:
    """Return our own refusal for a database error, in one line."""
    cause = getattr(error, "orig", error)
    code = getattr(cause, "sqlite_errorcode", 0) & 0xFF
    state = str(getattr(cause, "sqlstate", "") or "")
    first_line = (str(cause).strip().splitlines() or [type(cause).__name__])[0]
    if code == sqlite3.SQLITE_FULL or state == "53100":
        return UnwritableOutput(
            f"no room left for the library {shown}; free some space and run the same "
            "command again, nothing kept so far is lost"
        )
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) or state == "55P03":
        return UnusableLibrary(
            f"another program has been writing to the library {shown} for "
            f"{_PATIENCE_S:.0f} s; wait for it to end and run the same command again"
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM):
        return UnusableLibrary(
            f"the library {shown} may not be written; check the permissions of its folder"
        )
    if code == sqlite3.SQLITE_IOERR:
        return UnwritableOutput(
            f"the disk refused to read or write the library {shown} ({first_line}); "
            "check its free space and health, then run the same command again"
        )
    if code in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_AUTH):
        return UnusableLibrary(
            f"the library {shown} cannot be opened; check that it is there and may be read"
        )
    if code in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT):
        return UnusableLibrary(
            f"the database {shown} is damaged or not a database ({first_line}); "
            "restore the library from a backup"
        )
    return UnusableLibrary(
        f"the database {shown} refused ({first_line}); check its address and that it runs"
    )


def _engine(url: URL) -> Engine:
    if url.get_backend_name() != "sqlite":
        return sa.create_engine(url)
    engine = sa.create_engine(url, connect_args={"timeout": _ONE_WAIT_S, "isolation_level": None})
    sa.event.listen(engine, "connect", _prepare_sqlite)
    sa.event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(raw: Any, _record: object) -> None:
    """Foreign keys hold, and a commit is on the disk before it is told."""
    raw.isolation_level = None
    raw.execute("PRAGMA foreign_keys = ON")
    raw.execute("PRAGMA synchronous = FULL")


def _begin_sqlite(connection: Connection) -> None:
    """Begin as the kind of transaction asks; a writer waits for its turn."""
    if not connection.get_execution_options().get("blinkspan_writes"):
        connection.exec_driver_sql("BEGIN")
        return
    give_up = time.monotonic() + _PATIENCE_S
    while True:
        try:
            connection.exec_driver_sql("BEGIN IMMEDIATE")
            return
        except sa.exc.OperationalError as busy:
            code = getattr(busy.orig, "sqlite_errorcode", 0) & 0xFF
            if code != sqlite3.SQLITE_BUSY or time.monotonic() > give_up:
                raise
