"""A full disk: whole job, on a small disk of its own and with SQLite's own page limit."""

import subprocess
import sys

import pytest
import sqlalchemy as sa
from invented_takes import LAG_SETUP, LAG_STUDY, measured_take, write_clip

from blinkspan.errors import UnwritableOutput
from blinkspan.library import Library
from blinkspan.library.backup import backup
from blinkspan.library.check import check
from blinkspan.library.findings import Weight
from blinkspan.library.runs import Inputs


def problems(library):
    return [found.text for found in check(library) if found.weight is Weight.PROBLEM]


@pytest.fixture
def small_disk(tmp_path):
    """Return the folder of a disk of 4 MB, where the tests may mount one."""
    place = tmp_path / "small"
    place.mkdir()
    mounted = (
        sys.platform == "linux"
        and not subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", place],
            capture_output=True,
            check=False,
        ).returncode
    )
    if not mounted:
        pytest.skip("no small disk may be mounted here")
    yield place
    subprocess.run(["umount", "-l", place], check=True)


def test_a_clip_for_which_there_is_no_room(small_disk, tmp_path):
    with Library.init(small_disk / "results") as library:
        library.add_study(LAG_STUDY)
        setup = library.add_setup(LAG_STUDY.name, LAG_SETUP)
        take = library.add_take(write_clip(tmp_path / "a.mp4", 1, 500_000), setup).take
        library.keep_run(take, measured_take(tmp_path / "a.mp4"), Inputs("0.1.0", {}))
        before = library.presses()
        large = write_clip(tmp_path / "b.mp4", 2, 5_000_000)
        with pytest.raises(UnwritableOutput, match=r"could not be copied .* nothing kept so far"):
            library.add_take(large, setup)
        assert library.takes() == (take,)
        assert list(library.presses()) == list(before)
        assert problems(library) == []


def test_results_for_which_there_is_no_room(small_disk, tmp_path):
    with Library.init(small_disk / "results") as library:
        library.add_study(LAG_STUDY)
        setup = library.add_setup(LAG_STUDY.name, LAG_SETUP)
        take = library.add_take(write_clip(tmp_path / "a.mp4", 1), setup).take
        found = measured_take(tmp_path / "a.mp4", presses=300)
        kept = []

        def keep_on():
            while len(kept) < 500:
                kept.append(library.keep_run(take, found, Inputs("0.1.0", {})))

        with pytest.raises(UnwritableOutput) as told:
            keep_on()
        assert "\n" not in str(told.value)
        assert [run.id for run in library.runs(take)] == [run.id for run in kept]
        assert len(kept) > 3
    with pytest.raises(UnwritableOutput, match="no room left"):
        list(backup(library, small_disk / "backups"))
    assert not list(small_disk.glob("backups/*Z*"))
    subprocess.run(["mount", "-o", "remount,size=8m", small_disk], check=True)
    with Library.open(small_disk / "results") as library:
        assert problems(library) == []
        library.keep_run(take, found, Inputs("0.1.0", {}))
        assert len(library.runs(take)) == len(kept) + 1


def test_a_database_that_may_not_grow(sqlite_library, tmp_path):
    library = sqlite_library
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    take = library.add_take(write_clip(tmp_path / "a.mp4", 1), setup).take
    found = measured_take(tmp_path / "a.mp4", presses=300)
    run = library.keep_run(take, found, Inputs("0.1.0", {}))
    library.close()

    def hold(raw, _record):
        (pages,) = raw.execute("PRAGMA page_count").fetchone()
        raw.execute(f"PRAGMA max_page_count = {pages + 1}")

    sa.event.listen(library.database.engine, "connect", hold)
    with pytest.raises(UnwritableOutput, match="no room left for the library"):
        library.keep_run(take, found, Inputs("0.1.0", {}))
    sa.event.remove(library.database.engine, "connect", hold)
    library.close()
    assert library.runs(take) == (run,)
    assert list(check(library)) == []
    library.keep_run(take, found, Inputs("0.1.0", {}))
    assert len(library.runs(take)) == 2
