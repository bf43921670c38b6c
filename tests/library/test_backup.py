"""Backup and restoring: exact (what is restored is what was kept), across databases."""

import sqlite3
from contextlib import closing

import pytest
from invented_takes import LAG_SETUP, LAG_STUDY, measured_take, write_clip

from blinkspan.errors import BadSetting, BlinkspanError, LibraryConflict, UnusableLibrary
from blinkspan.library import Library
from blinkspan.library.backup import backup, restore
from blinkspan.library.check import check
from blinkspan.library.findings import Finding, Weight
from blinkspan.library.kept import Keeping
from blinkspan.library.runs import Inputs
from blinkspan.presses.correction import Corrects
from blinkspan.presses.press import Verdict


def fill(library, tmp_path, seed=1, keeping=Keeping.COPY):
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    clip = write_clip(tmp_path / f"{seed}.mp4", seed)
    take = library.add_take(clip, setup, keeping).take
    library.keep_run(take, measured_take(clip, seed), Inputs("0.1.0", {}))
    press = library.presses(take=take)[0]
    library.correct(press.id, Corrects.VERDICT, verdict=Verdict.REJECTED, by="Ida", why="slip")


def held(library):
    return (
        library.studies(),
        library.find_setups(),
        library.takes(),
        [library.runs(take) for take in library.takes()],
        [library.corrections(take) for take in library.takes()],
        list(library.presses()),
        [library.clip(take).read_bytes() for take in library.takes()],
    )


def test_what_is_restored_is_what_was_kept_even_in_the_other_database(
    library, tmp_path, empty_postgresql
):
    fill(library, tmp_path, 1)
    fill(library, tmp_path, 2, Keeping.LINK)
    *_, whole = backup(library, tmp_path / "backups")
    with closing(sqlite3.connect(whole / "library.sqlite")) as judge:
        assert judge.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert judge.execute("PRAGMA foreign_key_check").fetchall() == []
    for folder, address in (("one", "library.sqlite"), ("two", empty_postgresql)):
        *_, place = restore(whole, tmp_path / folder, address)
        with Library.open(place) as again:
            assert held(again) == held(library)
            assert [f for f in check(again) if f.weight is not Weight.NOTE] == []
            fill(again, tmp_path, 3)  # keys go on where they stopped
            assert len(again.takes()) == 3


def test_the_latest_of_several_backups_shares_their_clips(sqlite_library, tmp_path):
    library = sqlite_library
    fill(library, tmp_path, 1)
    *_, first = backup(library, tmp_path / "backups")
    fill(library, tmp_path, 2)
    *_, second = backup(library, tmp_path / "backups")
    assert len([p for p in (tmp_path / "backups" / "media").rglob("*") if p.is_file()]) == 2
    *_, place = restore(tmp_path / "backups", tmp_path / "latest")
    with Library.open(place) as again:
        assert held(again) == held(library)
    *_, place = restore(first, tmp_path / "earlier")
    with Library.open(place) as again:
        assert len(again.takes()) == 1
        assert [f for f in check(again) if f.weight is Weight.PROBLEM] == []
    assert second != first


def test_clips_left_in_place_are_told(sqlite_library, tmp_path):
    fill(sqlite_library, tmp_path, 1, Keeping.IN_PLACE)
    steps = list(backup(sqlite_library, tmp_path / "backups"))
    assert [step.text for step in steps if isinstance(step, Finding)] == [
        "1 clips left in place are not part of the backup"
    ]


def test_a_cut_off_backup_cannot_be_restored(sqlite_library, tmp_path):
    fill(sqlite_library, tmp_path, 1)
    steps = backup(sqlite_library, tmp_path / "backups")
    next(steps)
    assert list((tmp_path / "backups").glob("*Z.part"))
    steps.close()
    assert not list((tmp_path / "backups").glob("*Z*"))
    with pytest.raises(UnusableLibrary, match="holds no whole backup"):
        list(restore(tmp_path / "backups", tmp_path / "again"))


def test_backups_that_cannot_be_used(sqlite_library, tmp_path):
    fill(sqlite_library, tmp_path, 1)
    with pytest.raises(BadSetting, match="inside the library"):
        list(backup(sqlite_library, sqlite_library.folder / "backups"))
    *_, whole = backup(sqlite_library, tmp_path / "backups")
    with pytest.raises(LibraryConflict, match="is a library already"):
        list(restore(whole, sqlite_library.folder))
    with pytest.raises(UnusableLibrary, match="holds no whole backup"):
        list(restore(tmp_path / "nothing", tmp_path / "again"))
    pages = bytearray((whole / "library.sqlite").read_bytes())
    pages[5000] ^= 1
    (whole / "library.sqlite").write_bytes(pages)
    with pytest.raises(UnusableLibrary, match="was changed since it was made"):
        list(restore(whole, tmp_path / "again"))
    (whole / "backup.json").write_text("[")
    with pytest.raises(BlinkspanError, match="cannot be read"):
        list(restore(whole, tmp_path / "again"))
    assert not (tmp_path / "again").exists()
    (tmp_path / "file").write_text("x")
    with pytest.raises(BlinkspanError, match="could not be written"):
        list(backup(sqlite_library, tmp_path / "file"))
