"""OpenTake: known footage (numbered frames in real files), each frame and time accounted for.

Random access is judged against the stream, and both against the number written
into every picture.
"""

import struct
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from blinkspan.errors import BadSetting
from blinkspan.footage.frames import TransferCurve
from blinkspan.footage.video import open_take

B_FRAMES = {"g": "20", "bf": "3", "x264-params": "b-adapt=0:scenecut=0"}
OPEN_GOP = {"g": "12", "bf": "3", "x264-params": "b-adapt=0:scenecut=0:open-gop=1"}
X265 = {"x265-params": "log-level=none:keyint=15:min-keyint=15:bframes=4:open-gop=1"}
X265_10 = {"x265-params": "log-level=none:keyint=15:bframes=2"}

FILMS = {
    "h264 with B-frames": {"options": B_FRAMES},
    "h264 with open groups": {"options": OPEN_GOP},
    "h264 of 10 bits": {"pixels": "yuv420p10le", "options": B_FRAMES},
    "h264 in mkv": {"name": "film.mkv", "options": B_FRAMES},
    "h264 in ts": {"name": "film.ts", "options": B_FRAMES},
    "h264 in fragments": {
        "options": B_FRAMES,
        "container": {"movflags": "frag_keyframe+empty_moov+default_base_moof"},
    },
    "hevc with open groups": {"codec": "libx265", "options": X265},
    "hevc of 10 bits": {"codec": "libx265", "pixels": "yuv420p10le", "options": X265_10},
    "mjpeg in mov": {"name": "film.mov", "codec": "mjpeg", "pixels": "yuvj420p"},
    "mjpeg in avi": {"name": "film.avi", "codec": "mjpeg", "pixels": "yuvj420p"},
    "prores": {"name": "film.mov", "codec": "prores_ks", "pixels": "yuv422p10le"},
    "grey without loss": {"name": "film.mkv", "codec": "ffv1", "pixels": "gray"},
    "rgb without loss": {"name": "film.mov", "codec": "png", "pixels": "rgb24"},
}


@pytest.mark.parametrize("film", FILMS.values(), ids=FILMS.keys())
def test_every_frame_comes_once_and_any_frame_can_be_fetched(make_film, read_number, film):
    with open_take(make_film(**film)) as take:
        assert [read_number(luma) for luma in take] == list(range(60))
        assert take.frames == 60
        assert take.clock.rate_hz == 240
        order = np.random.default_rng(5).permutation(60).tolist()
        assert [read_number(take.luma(i)) for i in order] == order
        # Fetched from another starting point, a plane is the same to the last code.
        for i in (0, 17, 31, 59):
            assert np.array_equal(take.luma(i), next(take.stream(i, i + 1)))


@pytest.mark.parametrize(
    ("film", "codec", "depth", "full"),
    [
        ("h264 with B-frames", "h264", 8, False),
        ("h264 of 10 bits", "h264", 10, False),
        ("hevc of 10 bits", "hevc", 10, False),
        ("mjpeg in mov", "mjpeg", 8, True),
        ("prores", "prores", 10, False),
        ("grey without loss", "ffv1", 8, True),
        ("rgb without loss", "png", 8, True),
    ],
)
def test_format_is_read_from_the_stream(make_film, film, codec, depth, full):
    with open_take(make_film(**FILMS[film])) as take:
        got = take.format
        luma = next(iter(take))
        assert (take.codec, got.bit_depth, got.full_range) == (codec, depth, full)
        assert luma.dtype == (np.uint8 if depth == 8 else np.uint16)
        assert luma.shape == (got.height_px, got.width_px) == (50, 126)
        assert luma.max() < 1 << depth


def test_flagged_full_range_and_srgb_are_obeyed(make_film):
    # ITU-T H.273: transfer 13 is IEC 61966-2-1 (sRGB); range 2 is FFmpeg's number for full.
    film = make_film(colour={"color_range": 2, "color_trc": 13})
    with open_take(film) as take:
        assert take.format.full_range
        assert take.format.transfer is TransferCurve.SRGB
        assert take.notes == ()


def test_hdr_curve_is_told(make_film):
    with open_take(make_film(colour={"color_trc": 18})) as take:  # H.273: 18 is HLG
        assert take.format.transfer is TransferCurve.BT709
        assert "HLG" in take.notes[0]


def test_stream_hands_out_the_decoders_own_memory(make_film):
    with open_take(make_film(options=B_FRAMES)) as take:
        for luma in take:
            assert not luma.flags.owndata
        kept = take.luma(3)
        kept[:] = 0  # a copy: the next fetch is not touched
        assert take.luma(3).any()


@pytest.mark.parametrize("width_px", [126, 130, 142, 158])
def test_padded_rows_are_left_out(make_film, read_number, width_px):
    film = make_film("film.mkv", codec="ffv1", pixels="yuv444p", width_px=width_px)
    with open_take(film) as take:
        assert take.format.width_px == width_px
        assert [read_number(luma) for luma in take] == list(range(60))


def test_variable_rate_and_dropped_frames_keep_their_times(make_film, read_number):
    # A microsecond clock that wanders by up to 300 us, as phones write it, with three frames
    # missing in one place and one in another.
    rng = np.random.default_rng(2)
    ideal = np.delete(np.arange(64), [20, 21, 22, 40]) * 1e6 / 240
    stamps = np.rint(1000 + ideal + rng.uniform(-300, 300, ideal.size)).astype(int)
    film = make_film(
        stamps=stamps.tolist(),
        time_base=Fraction(1, 1_000_000),
        options=B_FRAMES,
        container={"video_track_timescale": "1000000"},
    )
    with open_take(film) as take:
        expected = [float(Fraction(int(s - stamps[0]), 1_000_000)) for s in stamps]
        assert take.clock.start_s.tolist() == expected
        assert take.dropped_frames == 4
        assert take.clock.gaps().tolist() == [19, 36]
        assert float(take.clock.rate_hz) == pytest.approx(240, rel=2e-3)
        assert read_number(take.luma(37)) == 37


def edit_list(path, *, media_time_ticks: int, duration_ms: int) -> None:
    """Rewrite the film's edit list in place (ISO/IEC 14496-12, 8.6.6, version 0)."""
    data = bytearray(path.read_bytes())
    at = data.index(b"elst") + 4
    version_and_flags, entries = struct.unpack_from(">II", data, at)
    assert (version_and_flags, entries) == (0, 1)
    struct.pack_into(">Ii", data, at + 8, duration_ms, media_time_ticks)
    path.write_bytes(data)


def test_edit_list_hides_frames_at_both_ends(make_film, read_number):
    film = make_film(options=B_FRAMES)
    # 64 ticks of 1/15360 s a frame and two frames of B-frame delay: begin at frame 27 of 60,
    # seven past the key frame 20, and show 100 ms = 24 frames.
    edit_list(film, media_time_ticks=(27 + 2) * 64, duration_ms=100)
    with open_take(film) as take:
        shown = [read_number(luma) for luma in take]
        assert shown[:24] == list(range(27, 51))
        assert take.clock.start_s[0] == 0.0
        assert take.clock.start_s[23] == pytest.approx(23 / 240, abs=1e-9)
        assert [read_number(take.luma(i)) for i in (5, 0, 20, 13)] == [32, 27, 47, 40]
        assert take.segments(4)[0][0] == 0


def test_segments_begin_at_key_frames_and_hold_every_frame_once(make_film, read_number):
    with open_take(make_film(options=B_FRAMES)) as take:
        assert take.segments(1) == [(0, 60)]
        assert take.segments(3) == [(0, 20), (20, 40), (40, 60)]
        assert take.segments(50) == [(0, 20), (20, 40), (40, 60)]
        streams = [take.stream(*segment) for segment in take.segments(3)]
        side_by_side = [
            [read_number(luma) for luma in lumas] for lumas in zip(*streams, strict=True)
        ]
        assert side_by_side == [[i, 20 + i, 40 + i] for i in range(20)]


def test_a_range_begins_and_ends_anywhere(make_film, read_number):
    with open_take(make_film(options=B_FRAMES)) as take:
        for start, stop in pairwise([0, 1, 19, 20, 33, 60]):
            assert [read_number(x) for x in take.stream(start, stop)] == list(range(start, stop))
        assert list(take.stream(7, 7)) == []


@pytest.mark.parametrize("bad", [(-1, 5), (5, 4), (0, 61)])
def test_a_range_outside_the_take_is_refused(make_film, bad):
    with open_take(make_film()) as take, pytest.raises(BadSetting, match="60 frames"):
        take.stream(*bad)


@pytest.mark.parametrize("bad", [-1, 60])
def test_a_frame_outside_the_take_is_refused(make_film, bad):
    with open_take(make_film()) as take, pytest.raises(BadSetting, match="0 to 59"):
        take.luma(bad)


def test_facts_of_a_take(make_film):
    import hashlib

    film = make_film(options=B_FRAMES)
    before = film.stat()
    with open_take(film, threads=1) as take:
        list(take)
        assert take.name == "film.mp4"
        assert take.duration_s == 0.25
        assert take.dropped_frames == 0
        assert take.sha256 == hashlib.sha256(film.read_bytes()).hexdigest()
        assert take.clock.source == "container"
    assert film.stat().st_mtime_ns == before.st_mtime_ns
    assert film.stat().st_size == before.st_size
