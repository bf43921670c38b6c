"""A take read in parts by several processes: known footage, to the bit what one process reads."""

import os
import signal
import subprocess
import sys
import time
from contextlib import closing
from dataclasses import fields
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from blinkspan.errors import UnreadableTake
from blinkspan.footage.video import OpenTake, open_take
from blinkspan.jobs import split_reading
from blinkspan.jobs.part_reading import read_part
from blinkspan.jobs.reading_worker import ReadingWorker
from blinkspan.jobs.split_reading import parts_of, pieces_of
from blinkspan.traces.reduction import Reduction, Series, in_memory
from blinkspan.traces.regions import Rectangle

WIDTH_PX, HEIGHT_PX, FRAMES = 160, 96, 150
LAMP, WATCH = Rectangle(8, 8, 12, 12), Rectangle(40, 10, 100, 80)

X264 = "keyint=25:min-keyint=25:scenecut=0:bframes=3:b-adapt=0:threads=1"
X265 = "log-level=none:keyint=25:min-keyint=25:scenecut=0:bframes=4:pools=none:frame-threads=1"
STEADY = [4 * frame for frame in range(FRAMES)]
# A phone's variable rate: steps of 3 to 6 ticks, and a gap where frames are missing.
VARIABLE = np.cumsum(np.random.default_rng(8).integers(3, 7, FRAMES)) + 40 * (
    np.arange(FRAMES) > 70
)

FILMS = {
    "h264": ("film.mp4", "libx264", {"x264-params": X264}, STEADY),
    "h264 with open groups": ("film.mkv", "libx264", {"x264-params": f"{X264}:open-gop=1"}, STEADY),
    "h264 of variable rate": ("film.mp4", "libx264", {"x264-params": X264}, VARIABLE.tolist()),
    "hevc": ("film.mp4", "libx265", {"x265-params": f"{X265}:open-gop=0"}, STEADY),
    "hevc with open groups": ("film.mp4", "libx265", {"x265-params": f"{X265}:open-gop=1"}, STEADY),
    "hevc of variable rate": ("film.mkv", "libx265", {"x265-params": X265}, VARIABLE.tolist()),
}


def film(folder: Path, name: str, codec: str, options: dict[str, str], stamps: list[int]) -> Path:
    """Return a film in which noise drifts, so that every picture builds on others."""
    rng = np.random.default_rng(2)
    noise = rng.integers(20, 220, (HEIGHT_PX, WIDTH_PX + 2 * FRAMES)).astype(np.uint8)
    path = folder / name
    with av.open(str(path), "w") as out:
        stream = out.add_stream(codec, rate=240, options={"preset": "veryfast", **options})
        stream.width, stream.height, stream.pix_fmt = WIDTH_PX, HEIGHT_PX, "yuv420p"
        stream.codec_context.time_base = Fraction(1, 960)
        for number, stamp in enumerate(stamps):
            luma = noise[:, 2 * number : 2 * number + WIDTH_PX].copy()
            luma[8:20, 8:20] = 230 if number // 20 % 2 else 20
            grey = av.VideoFrame.from_ndarray(luma, "gray")
            frame = grey.reformat(format="yuv420p", src_color_range="MPEG", dst_color_range="MPEG")
            frame.pts, frame.time_base = stamp, Fraction(1, 960)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


def series_of(take: OpenTake, processors: int) -> tuple[list[int], Series]:
    reduction = Reduction(take.format, LAMP, WATCH)
    with closing(pieces_of(take, reduction, processors)) as pieces:
        *done, series = reduction.joined(pieces, take.clock, in_memory)
    return done, series


def same(one: Series, other: Series) -> bool:
    """Whether all arrays of two series hold the same bits."""
    arrays = ("lamp", "lamp_clipped", "around", "watch")
    assert {"clock", "picture", "lamp_region", "watch_region", *arrays} == {
        field.name for field in fields(Series)
    }
    return all(np.array_equal(getattr(one, name), getattr(other, name)) for name in arrays)


@pytest.fixture
def tiny_parts(monkeypatch):
    """Make takes of any length worth splitting."""
    monkeypatch.setattr(split_reading, "_LEAST_PX", 20 * WIDTH_PX * HEIGHT_PX)


@pytest.fixture
def started(monkeypatch):
    """Return a list of the processes started."""
    workers = []

    class Noted(ReadingWorker):
        def __init__(self, *how):
            super().__init__(*how)
            workers.append(self)

    monkeypatch.setattr(split_reading, "ReadingWorker", Noted)
    return workers


@pytest.mark.parametrize("kind", FILMS.values(), ids=FILMS.keys())
def test_parts_read_side_by_side_join_without_a_seam(kind, tmp_path, tiny_parts, started):
    with open_take(film(tmp_path, *kind)) as take:
        assert len(parts_of(take, 2)) >= 2
        done, split = series_of(take, 2)
        assert len(started) == 2
        _, whole = series_of(take, 1)
        assert len(started) == 2
        assert same(split, whole)
        assert done == sorted(done)
        assert done[-1] == take.frames == FRAMES


def test_a_short_take_is_not_split(tmp_path, started):
    with open_take(film(tmp_path, *FILMS["h264"])) as take:
        assert parts_of(take, 2) == [(0, FRAMES)]
        series_of(take, 2)
    assert started == []


def test_the_longer_the_take_the_more_parts_up_to_a_few_a_process(tmp_path, tiny_parts):
    with open_take(film(tmp_path, *FILMS["h264"])) as take:
        assert [len(parts_of(take, n)) for n in (1, 2, 3, 64)] == [1, 2, 3, 4]


def test_keys_that_are_none_are_noticed_and_the_take_read_in_one_piece(tmp_path, tiny_parts):
    # A picture refreshed a strip at a time: its marked frames show it whole only later.
    params = X264.replace("bframes=3", "bframes=0") + ":intra-refresh=1"
    path = film(tmp_path, "strips.mkv", "libx264", {"x264-params": params}, STEADY)
    with open_take(path) as take:
        assert len(parts_of(take, 2)) >= 2
        _, split = series_of(take, 2)
        _, whole = series_of(take, 1)
        assert same(split, whole)


def test_parts_that_disagree_where_they_meet_are_read_anew(tmp_path, tiny_parts, monkeypatch):
    with open_take(film(tmp_path, *FILMS["h264"])) as take:
        work = Reduction(take.format, LAMP, WATCH)
        *_, first = read_part(take.reel, work, 0, 75)
        *_, second = read_part(take.reel, work, 75, FRAMES)
        assert sorted(first.digests) == [0, 1, 2, 3, 75, 76, 77, 78]
        assert split_reading._agree(dict(first.digests), second.digests)
        another = {**second.digests, 76: second.digests[75]}
        assert not split_reading._agree(dict(first.digests), another)

        monkeypatch.setattr(split_reading, "_agree", lambda known, more: False)
        assert same(series_of(take, 2)[1], series_of(take, 1)[1])


def test_a_damaged_take_is_refused_as_if_read_in_one_piece(tmp_path, tiny_parts):
    path = film(tmp_path, *FILMS["h264"])
    with av.open(str(path)) as container:
        packets = [p for p in container.demux(video=0) if p.size]
    damaged = bytearray(path.read_bytes())
    for packet in packets[60:64]:
        damaged[packet.pos + 4 : packet.pos + packet.size] = bytes(packet.size - 4)
    path.write_bytes(damaged)
    refusals = []
    for processors in (1, 2):
        with open_take(path) as take, pytest.raises(UnreadableTake) as refusal:
            series_of(take, processors)
        refusals.append(str(refusal.value))
    assert refusals[0] == refusals[1]


@pytest.mark.skipif(os.name == "nt", reason="signals differ there")
def test_a_process_that_is_ended_is_told_in_one_line(tmp_path, tiny_parts, started):
    with open_take(film(tmp_path, *FILMS["h264"])) as take:
        reduction = Reduction(take.format, LAMP, WATCH)

        def pieces():
            with closing(pieces_of(take, reduction, 2)) as each:
                for piece in each:
                    for worker in started:
                        worker._process.send_signal(signal.SIGKILL)
                    yield piece

        with pytest.raises(UnreadableTake, match="a process that read it was ended by SIGKILL"):
            list(pieces())
    assert all(worker._process.poll() is not None for worker in started)


def test_stopping_early_ends_the_processes(tmp_path, tiny_parts, started):
    with open_take(film(tmp_path, *FILMS["h264"])) as take:
        with closing(pieces_of(take, Reduction(take.format, LAMP, WATCH), 2)) as pieces:
            next(pieces)
        assert all(worker._process.poll() is not None for worker in started)
        assert not any(worker._listener.is_alive() for worker in started)


def test_a_system_that_starts_no_process_reads_in_one_piece(tmp_path, tiny_parts, monkeypatch):
    monkeypatch.setattr(sys, "executable", str(tmp_path / "nowhere"))
    with open_take(film(tmp_path, *FILMS["h264"])) as take:
        assert len(parts_of(take, 2)) >= 2
        assert same(series_of(take, 2)[1], series_of(take, 1)[1])


def test_a_python_that_cannot_import_reads_in_one_piece(tmp_path, tiny_parts, monkeypatch, capfd):
    broken = "raise ImportError('broken on purpose')"
    monkeypatch.setattr("blinkspan.jobs.reading_worker._SERVE", broken)
    with open_take(film(tmp_path, *FILMS["h264"])) as take:
        assert same(series_of(take, 2)[1], series_of(take, 1)[1])
    assert "broken on purpose" in capfd.readouterr().err


# A script as people write them: nothing guards its main part from being run again.
SCRIPT = """
import sys, time
from blinkspan.footage.video import open_take
from blinkspan.jobs import split_reading
from blinkspan.traces.reduction import Reduction
from blinkspan.traces.regions import Rectangle
split_reading._LEAST_PX = 1
class Noted(split_reading.ReadingWorker):
    def __init__(self, *how):
        super().__init__(*how)
        print(self._process.pid, flush=True)
split_reading.ReadingWorker = Noted
with open_take(sys.argv[1]) as take:
    work = Reduction(take.format, Rectangle(8, 8, 12, 12), Rectangle(40, 10, 100, 80))
    for piece in split_reading.pieces_of(take, work, 2):
        time.sleep(60)
"""


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks processes up in /proc")
def test_a_parent_that_is_killed_leaves_no_process_behind(tmp_path):
    path = film(tmp_path, *FILMS["h264"])
    script = tmp_path / "script.py"
    script.write_text(SCRIPT)
    with subprocess.Popen(
        [sys.executable, script, path], stdout=subprocess.PIPE, text=True
    ) as parent:
        pids = [int(parent.stdout.readline()) for _ in range(2)]
        parent.kill()
        parent.wait()
        assert parent.stdout.read() == ""  # started twice, not again and again
    give_up = time.monotonic() + 20
    while any(map(runs, pids)) and time.monotonic() < give_up:
        time.sleep(0.05)
    assert not any(map(runs, pids))


def runs(pid: int) -> bool:
    """Whether a process is there and not merely waiting to be buried."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False
