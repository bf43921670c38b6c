"""Migrations: from every schema ever released, by stored databases; newer ones are refused.

The judge of what an old database held is Python's sqlite3, which knows nothing of ours.
"""

import gzip
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from invented_takes import LAG_STUDY

import blinkspan.library
from blinkspan.errors import UnusableLibrary
from blinkspan.library import Library
from blinkspan.library.check import check
from blinkspan.library.findings import Weight
from blinkspan.library.place import write_settings
from blinkspan.library.schema import NEWEST, REVISIONS
from blinkspan.library.tables import Table

STORED = sorted(Path(__file__).parent.glob("schemas/*.sqlite.gz"))


def plain_rows(file: Path) -> dict[str, list[dict]]:
    with closing(sqlite3.connect(file)) as db:
        db.row_factory = sqlite3.Row
        names = [
            name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type='table'")
        ]
        return {
            name: [dict(row) for row in db.execute(f'SELECT * FROM "{name}" ORDER BY 1')]
            for name in names
            if name not in ("alembic_version", "sqlite_sequence")
        }


def laid_out(folder: Path, stored: Path) -> Path:
    folder.mkdir()
    (folder / "library.sqlite").write_bytes(gzip.decompress(stored.read_bytes()))
    write_settings(folder, "library.sqlite")
    return folder


def test_every_released_schema_is_stored_for_the_later_ones():
    assert [file.name.split(".")[0] for file in STORED] == list(REVISIONS)


def test_the_list_of_schemas_is_that_of_the_migrations():
    config = Config()
    home = Path(blinkspan.library.__file__).parent
    config.set_main_option("script_location", str(home / "migrations"))
    script = ScriptDirectory.from_config(config)
    assert [step.revision for step in script.walk_revisions()][::-1] == list(REVISIONS)
    assert script.get_heads() == [NEWEST]


def test_migrations_lead_to_the_tables_the_code_works_with(library):
    """Alembic's own comparison is the judge, on both databases."""
    with library.database.reading() as db:
        assert compare_metadata(MigrationContext.configure(db), Table.metadata) == []


@pytest.mark.parametrize("stored", STORED, ids=lambda file: file.name.split(".")[0])
def test_an_old_library_is_brought_to_the_newest_schema_with_all_it_held(tmp_path, stored):
    folder = laid_out(tmp_path / "old", stored)
    before = plain_rows(folder / "library.sqlite")
    had = stored.name.split(".")[0]
    if had != NEWEST:
        with pytest.raises(UnusableLibrary, match=f"older schema {had}.*blinkspan library upgrade"):
            Library.open(folder)
    assert Library.upgrade(folder) == (had, NEWEST)
    after = plain_rows(folder / "library.sqlite")
    before.pop("digest", None)  # repeats what presses and corrections say, and is built anew
    for table, rows in before.items():
        kept = [{name: row[name] for name in rows[0]} for row in after[table]] if rows else []
        assert kept == rows
    with Library.open(folder) as library:
        problems = [f.text for f in check(library) if f.weight is Weight.PROBLEM]
        # the clips were not stored beside the database; all else is sound, seals included
        assert [text.split(" (")[0] for text in problems] == [
            "the clip of 'take 1.mp4' is missing",
            "the clip of 'take 2.mp4' is missing",
        ]
        (glance,) = library.study(LAG_STUDY.name).overview()
        assert (glance.n, glance.doubtful, glance.rejected) == (6, 2, 0)
        assert library.presses()[5].press.lamp_on.value == 0.29  # the stored correction
    assert Library.upgrade(folder) == (NEWEST, NEWEST)


def test_a_newer_library_is_refused_and_not_touched(sqlite_library):
    folder = sqlite_library.folder
    with sqlite_library.database.writing() as db:
        db.execute(sa.text("UPDATE alembic_version SET version_num = '9999'"))
    sqlite_library.close()
    before = plain_rows(folder / "library.sqlite")
    for act in (Library.open, Library.upgrade):
        with pytest.raises(UnusableLibrary, match=r"newer than .* install the newer blinkspan"):
            act(folder)
    assert plain_rows(folder / "library.sqlite") == before


def test_a_migration_that_fails_leaves_the_old_library(tmp_path, monkeypatch):
    folder = laid_out(tmp_path / "old", STORED[0])
    before = plain_rows(folder / "library.sqlite")
    with closing(sqlite3.connect(folder / "library.sqlite")) as db:
        db.execute("CREATE TABLE digest (x)")  # in the way of the second migration
        db.commit()
    with pytest.raises(UnusableLibrary, match="already exists"):
        Library.upgrade(folder)
    with closing(sqlite3.connect(folder / "library.sqlite")) as db:
        db.execute("DROP TABLE digest")
        db.commit()
    assert plain_rows(folder / "library.sqlite") == before
    assert Library.upgrade(folder) == (REVISIONS[0], NEWEST)
