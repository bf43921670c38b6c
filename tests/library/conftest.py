"""Libraries to test with, in SQLite and in a PostgreSQL started for the purpose."""

import secrets
import shutil
import sys
from pathlib import Path

import pytest
import sqlalchemy as sa

from blinkspan.library import Library
from blinkspan.library.place import write_settings

sys.path.insert(0, str(Path(__file__).parent))

from invented_takes import LAG_SETUP, LAG_STUDY
from team_server import server_programs, team_server


@pytest.fixture(scope="session")
def postgresql():
    """Return the address of a PostgreSQL server of our own."""
    programs = server_programs()
    if programs is None:
        pytest.skip("PostgreSQL's server is not installed")
    with team_server(programs) as address:
        yield address


def _on_server(postgresql: str, *statements: str) -> None:
    server = sa.create_engine(postgresql.format(name="postgres"), isolation_level="AUTOCOMMIT")
    with server.connect() as connection:
        for statement in statements:
            connection.exec_driver_sql(statement)
    server.dispose()


@pytest.fixture
def empty_postgresql(postgresql):
    """Return the address of an empty database of its own."""
    name = f"t{secrets.token_hex(6)}"
    _on_server(postgresql, f"CREATE DATABASE {name}")
    yield postgresql.format(name=name)
    _on_server(postgresql, f"DROP DATABASE {name} WITH (FORCE)")


def _make(folder: Path, address: str) -> None:
    with Library.init(folder, address, made_by="test") as made:
        made.add_study(LAG_STUDY)
        made.add_setup(LAG_STUDY.name, LAG_SETUP)


@pytest.fixture(scope="session")
def made_sqlite(tmp_path_factory):
    """Return the folder of a library made once, to be copied: making one takes its time."""
    folder = tmp_path_factory.mktemp("made") / "results"
    _make(folder, "library.sqlite")
    return folder


@pytest.fixture(scope="session")
def made_postgresql(postgresql, tmp_path_factory):
    """Return the name of a database made once, to be copied."""
    _on_server(postgresql, "CREATE DATABASE made")
    _make(tmp_path_factory.mktemp("made") / "results", postgresql.format(name="made"))
    return "made"


@pytest.fixture
def sqlite_library(tmp_path, made_sqlite):
    """Return a new SQLite library with one study and one setup in it."""
    folder = Path(shutil.copytree(made_sqlite, tmp_path / "results"))
    with Library.open(folder) as opened:
        yield opened


@pytest.fixture
def postgresql_library(tmp_path, postgresql, made_postgresql):
    """Return the same in PostgreSQL."""
    name = f"t{secrets.token_hex(6)}"
    _on_server(postgresql, f"CREATE DATABASE {name} TEMPLATE {made_postgresql}")
    folder = tmp_path / "results"
    (folder / "media").mkdir(parents=True)
    write_settings(folder, postgresql.format(name=name))
    with Library.open(folder) as opened:
        yield opened
    _on_server(postgresql, f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(params=["sqlite", "postgresql"])
def library(request):
    """Return a library in each of the databases in turn."""
    return request.getfixturevalue(f"{request.param}_library")
