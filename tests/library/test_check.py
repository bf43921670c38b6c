"""Checking the library: exact (each kind of damage is told; only the rebuildable is repaired)."""

import os
import time
from dataclasses import replace
from datetime import timedelta

import sqlalchemy as sa
from invented_takes import LAG_SETUP, LAG_STUDY, measured_take, write_clip

from blinkspan.library.check import check
from blinkspan.library.findings import Weight
from blinkspan.library.kept import Keeping
from blinkspan.library.runs import Inputs
from blinkspan.library.tables import DigestRow, TakeRow


def told(library, *weights):
    return [f.text for f in check(library) if f.weight in (weights or tuple(Weight))]


def filled(library, tmp_path, keeping=Keeping.COPY):
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    clip = write_clip(tmp_path / "a.mp4", 1)
    take = library.add_take(clip, setup, keeping).take
    library.keep_run(take, measured_take(clip), Inputs("0.1.0", {}))
    return take


def test_a_sound_library_says_nothing(library, tmp_path):
    filled(library, tmp_path)
    seen = []
    assert list(check(library, seen.append)) == []
    assert sum(seen) == 2000  # every byte of the clip was read


def test_a_missing_and_a_changed_clip(library, tmp_path):
    take = filled(library, tmp_path)
    place = library.clip(take)
    whole = place.read_bytes()
    place.unlink()
    (text,) = told(library)
    assert "clip of 'a.mp4' is missing" in text
    place.write_bytes(whole[:-1] + b"x")
    (text,) = told(library)
    assert "clip of 'a.mp4' was changed" in text
    assert place.read_bytes()[-1:] == b"x"  # told, not touched


def test_a_clip_left_in_place_and_moved_away(library, tmp_path):
    take = filled(library, tmp_path, Keeping.IN_PLACE)
    library.clip(take).rename(tmp_path / "moved.mp4")
    assert "is missing" in told(library, Weight.PROBLEM)[0]


def test_strays_are_told_and_left_alone(library, tmp_path):
    filled(library, tmp_path)
    foreign = library.folder / "media" / "holiday.jpg"
    foreign.write_bytes(b"x")
    orphan = library.folder / "media" / "00" / ("00" * 32 + ".mp4")
    orphan.parent.mkdir(exist_ok=True)
    orphan.write_bytes(b"x")
    texts = told(library, Weight.PROBLEM)
    assert any("holiday.jpg is not a file of the library" in text for text in texts)
    assert any("belongs to no take" in text for text in texts)
    assert foreign.exists()
    assert orphan.exists()


def test_leftovers_of_a_cut_off_copy_are_cleared_once_they_are_old(library):
    part = library.folder / "media" / "incoming" / "abc.part"
    part.parent.mkdir()
    part.write_bytes(b"x")
    assert told(library) == ["abc.part is being written, or was left over"]
    assert part.exists()
    old = time.time() - 7200
    os.utime(part, (old, old))
    assert told(library, Weight.REPAIRED) == ["abc.part was left over; removed"]
    assert not part.exists()


def test_a_cut_off_import_is_finished_or_forgotten(library, tmp_path):
    take = filled(library, tmp_path)
    with library.database.writing() as db:
        db.execute(sa.update(TakeRow).values(state="arriving"))
    assert library.takes() == ()
    assert told(library, Weight.REPAIRED)[0].startswith("'a.mp4' had come whole")
    assert library.takes() == (take,)
    values = {
        "sha256": "ab" * 32,
        "name": "b.mp4",
        "size_bytes": 1,
        "setup_id": take.setup_id,
        "keeping": "copy",
        "source": "b.mp4",
    }
    with library.database.writing() as db:
        db.execute(sa.insert(TakeRow).values(state="arriving", added_at=library.now(), **values))
    assert "on its way" in told(library, Weight.NOTE)[0]
    now = library.now()
    library.now = lambda: now + timedelta(hours=2)
    assert "never came whole" in told(library, Weight.REPAIRED)[0]
    assert told(library) == []


def test_a_result_changed_behind_our_back_is_told(library, tmp_path):
    filled(library, tmp_path)
    for statement in (
        "UPDATE press SET span_s = span_s + 1e-12 WHERE number = 2",
        "UPDATE press SET span_s = span_s - 1e-12, verdict = 'rejected' WHERE number = 2",
    ):
        with library.database.writing() as db:
            db.execute(sa.text(statement))
        assert "no longer holds what it found" in told(library, Weight.PROBLEM)[0]


def test_a_lost_press_is_told(library, tmp_path):
    filled(library, tmp_path)
    with library.database.writing() as db:
        db.execute(sa.text("DELETE FROM press WHERE number = 3"))
    assert "no longer holds what it found" in told(library, Weight.PROBLEM)[0]


def test_a_digest_is_built_again(library, tmp_path):
    filled(library, tmp_path)
    before = library.study(LAG_STUDY.name).overview()
    with library.database.writing() as db:
        db.execute(sa.update(DigestRow).values(spans=b"1234"))
    assert library.study(LAG_STUDY.name).overview() != before
    assert told(library) == ["the digest of 'a.mp4' was built again"]
    assert library.study(LAG_STUDY.name).overview() == before


def test_damaged_traces_are_removed_and_missing_ones_noted(library, tmp_path):
    filled(library, tmp_path)
    (cached,) = (library.folder / "cache").rglob("*.npz")
    cached.write_bytes(b"PK")
    repaired, note = told(library)
    assert "damaged traces" in repaired
    assert note.startswith("1 runs have no cached traces")
    assert told(library, Weight.PROBLEM, Weight.REPAIRED) == []


def test_broken_foreign_keys_are_told(sqlite_library, tmp_path):
    take = filled(sqlite_library, tmp_path)
    with sqlite_library.database.engine.connect() as connection:
        raw = connection.connection.dbapi_connection
        raw.execute("PRAGMA foreign_keys = OFF")
        raw.execute("UPDATE digest SET run_id = 77")
        connection.invalidate()
    texts = told(sqlite_library, Weight.PROBLEM)
    assert any("of digest points at a run that is not there" in text for text in texts)
    assert replace(take) in sqlite_library.takes()
