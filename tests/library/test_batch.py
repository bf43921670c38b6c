"""Measuring a study: whole job, with clips that crash, hang or are cut off; one is staged."""

import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from invented_takes import LAG_SETUP, LAG_STUDY, measured_take
from invented_work import work

from blinkspan.jobs import batch
from blinkspan.library.check import check
from blinkspan.presses.changes import changes
from blinkspan.presses.press import Reason, Verdict
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.stage.catalogue import CATALOGUE
from blinkspan.stage.render import render_scene
from blinkspan.traces.regions import Rectangle, Regions


def bring(library, folder, *words):
    """Return takes whose clips hold these words."""
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    takes = []
    for number, word in enumerate(words):
        clip = folder / f"{number} {word}.mp4"
        clip.write_bytes(f"{word} {number}".encode())
        takes.append(library.add_take(clip, setup).take)
    return takes


def plans_of(library, again=False, **given):
    plans, failed = batch.planned(library, LAG_STUDY.name, None, given, None, again)
    assert failed == []
    return plans


def ends(events):
    """Return what became of each take: the run, or the reason why there is none."""
    return {
        event.take.name: getattr(event, "reason", None)
        for event in events
        if isinstance(event, batch.Kept | batch.Failed)
    }


def test_a_clip_that_crashes_or_hangs_takes_down_itself_alone(library, tmp_path):
    bring(library, tmp_path, "crash", "good", "hang", "refuse", "leave", "fault", "good")
    events = list(batch.run_plans(library, plans_of(library), 3, hung_s=4.0, work=work))
    told = ends(events)
    assert "SIGSEGV" in told["0 crash.mp4"]
    assert "nothing came of it for 4 s" in told["2 hang.mp4"]
    assert "holds no film" in told["3 refuse.mp4"]
    assert "ended with code 3" in told["4 leave.mp4"]
    assert "ended with code 1" in told["5 fault.mp4"]
    assert told["1 good.mp4"] is told["6 good.mp4"] is None
    assert all("\n" not in reason for reason in told.values() if reason)
    assert len(library.presses()) == 8
    assert {plan.take.name for plan in plans_of(library)} == {
        name for name, reason in told.items() if reason
    }
    assert list(check(library)) == []


def test_what_is_neither_new_nor_stale_is_left_alone(library, tmp_path):
    bring(library, tmp_path, "good", "good")
    first = list(batch.run_plans(library, plans_of(library), 2, work=work))
    assert [e.changed for e in first if isinstance(e, batch.Kept)] == [None, None]
    assert plans_of(library) == []
    again = list(batch.run_plans(library, plans_of(library, again=True), 2, work=work))
    assert [str(e.changed) for e in again if isinstance(e, batch.Kept)] == ["nothing changed"] * 2
    assert [len(library.runs(take)) for take in library.takes()] == [2, 2]


def test_a_run_grows_stale_with_regions_profiles_and_settings(library, tmp_path, monkeypatch):
    one, _ = bring(library, tmp_path, "good", "good")

    def measured():
        list(batch.run_plans(library, plans_of(library), 2, work=work))
        assert plans_of(library) == []

    measured()
    library.keep_regions(one, Regions(Rectangle(1, 1, 9, 9), None, Rectangle(50, 50, 9, 9)), "Ida")
    assert [plan.take for plan in plans_of(library)] == [one]
    measured()
    display = library.keep_display("panel one", DisplayProfile(Measured(0.012, 0.0007), 60.0))
    camera = CameraProfile(None, Measured(0.003, 0.0002))
    library.keep_camera("camera one", camera)
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    words = replace(setup.setup, display="panel one", camera="camera one")
    library.edit_setup(setup, words)
    assert len(plans_of(library)) == 2
    assert plans_of(library)[0].settings.display.lag_s.value == pytest.approx(0.012)
    assert plans_of(library)[0].settings.camera.readout_s.u == pytest.approx(0.0002)
    measured()
    library.keep_display("panel one", DisplayProfile(Measured(0.010, 0.0007), 60.0), over=display)
    assert len(plans_of(library)) == 2
    measured()
    assert len(plans_of(library, capture_rate_hz=240.0)) == 2
    list(batch.run_plans(library, plans_of(library, capture_rate_hz=240.0), 2, work=work))
    assert plans_of(library) == []  # what was said of a take once holds until it is said anew
    assert plans_of(library, again=True)[0].settings.capture_rate_hz == 240.0
    monkeypatch.setattr(batch, "version", lambda _name: "9.9.9")
    assert len(plans_of(library)) == 2


def test_a_take_without_its_clip_is_told_and_the_others_go_on(sqlite_library, tmp_path):
    one, _ = bring(sqlite_library, tmp_path, "good", "good")
    with sqlite_library.database.writing() as db:
        db.exec_driver_sql(f"UPDATE take SET keeping = 'elsewhere' WHERE id = {one.id}")
    plans, failed = batch.planned(sqlite_library, LAG_STUDY.name, None, {}, None, False)
    assert [failure.take.id for failure in failed] == [one.id]
    assert len(plans) == 1


PARENT = """
import sys
sys.path.insert(0, sys.argv[2])
from invented_work import work
from blinkspan.jobs import batch
from blinkspan.library import Library
if __name__ == "__main__":
    with Library.open(sys.argv[1]) as library:
        plans, _ = batch.planned(library, "harbour at night", None, {}, None, False)
        for event in batch.run_plans(library, plans, 2, work=work):
            if isinstance(event, batch.Kept):
                print(event.run.id, flush=True)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="looks for processes in /proc")
def test_a_killed_batch_leaves_no_worker_behind_and_goes_on_where_it_stopped(
    sqlite_library, tmp_path
):
    takes = bring(sqlite_library, tmp_path, *["slow"] * 8)
    (tmp_path / "parent.py").write_text(PARENT)
    here = Path(__file__).parent
    words = [sys.executable, tmp_path / "parent.py", sqlite_library.folder, here]
    parent = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
    noted = [int(parent.stdout.readline()) for _ in range(2)]
    os.kill(parent.pid, signal.SIGKILL)
    parent.wait()
    parent.stdout.close()
    kept = {run.id for take in takes for run in sqlite_library.runs(take)}
    assert set(noted) <= kept
    assert list(check(sqlite_library)) == []
    give_up = time.monotonic() + 20
    while ours := [
        entry
        for entry in Path("/proc").iterdir()
        if entry.name.isdigit() and str(tmp_path / "parent.py") in _command(entry)
    ]:
        assert time.monotonic() < give_up, ours
        time.sleep(0.1)
    left = plans_of(sqlite_library)
    assert 0 < len(left) <= 8 - len(noted)
    list(batch.run_plans(sqlite_library, left, 2, work=work))
    assert plans_of(sqlite_library) == []
    assert [len(sqlite_library.runs(take)) for take in takes] == [1] * 8


def _command(entry: Path) -> str:
    try:
        return (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode()
    except OSError:
        return ""


def test_stopping_a_batch_ends_its_workers(library, tmp_path):
    bring(library, tmp_path, "hang", "good")
    events = batch.run_plans(library, plans_of(library), 2, work=work)
    while not isinstance(next(events), batch.Kept):
        pass
    before = time.monotonic()
    events.close()
    assert time.monotonic() - before < 60  # the hung one is not waited for
    assert len(plans_of(library)) == 1


def test_changes_are_told_press_by_press(tmp_path):
    (tmp_path / "a.mp4").write_bytes(b"x")
    before = measured_take(tmp_path / "a.mp4").presses
    assert not changes(before, before)
    moved = replace(before[0], span=before[0].span + 0.004)
    judged = replace(before[1], verdict=Verdict.REJECTED, reason=Reason.BOUNCE)
    extra = replace(before[3], lamp_on=Measured(5.0, 0.001))
    told = changes(before, [moved, judged, before[2], extra])
    assert (told.moved, told.judged) == (((before[0], moved),), ((before[1], judged),))
    assert (told.found, told.lost) == ((extra,), (before[3],))
    assert str(told) == (
        "1 presses more; 1 presses fewer; 1 spans moved, by 4.0 ms at most; 1 verdicts changed"
    )


def test_a_staged_take_is_measured_into_the_library(sqlite_library, tmp_path):
    scene = CATALOGUE["flash-oled-60"]
    small = replace(scene.camera, width_px=320, height_px=180)
    scene = replace(scene, camera=small, presses=replace(scene.presses, count=4))
    staged = render_scene(scene, tmp_path)
    setup = sqlite_library.setup(LAG_STUDY.name, LAG_SETUP.name)
    take = sqlite_library.add_take(staged.path, setup).take
    places = Regions(staged.truth.lamp, None, staged.truth.watch)
    plans, _ = batch.planned(sqlite_library, LAG_STUDY.name, None, {}, places, False)
    told = list(batch.run_plans(sqlite_library, plans, 1))
    (end,) = [event for event in told if isinstance(event, batch.Kept | batch.Failed)]
    assert isinstance(end, batch.Kept), end
    assert sqlite_library.measurement(end.run).take.name == staged.path.name
    assert sqlite_library.given_regions(take) == places
    assert len(sqlite_library.presses(take=take)) == 4
    assert plans_of(sqlite_library) == []
