"""Encoding: exact (what goes in comes out, in number, time and light) and every refusal."""

from fractions import Fraction

import av
import numpy as np
import pytest

from blinkspan.errors import BadSetting, UnwritableOutput
from blinkspan.footage.film import encode_film

_WIDTH, _HEIGHT = 160, 96


def _steps(count, width=_WIDTH, height=_HEIGHT):
    """Yield grey frames, each with a bar brighter than the last one's."""
    for i in range(count):
        frame = np.full((height, width), 60, np.uint8)
        frame[20:60, 30:90] = 80 + 5 * i
        yield frame


def _encode(path, frames, **options):
    settings = {"width_px": _WIDTH, "height_px": _HEIGHT, "rate_hz": Fraction(240)}
    return encode_film(path, frames, **(settings | options))


def _decode(path):
    with av.open(str(path)) as container:
        return [(frame.pts * frame.time_base, frame) for frame in container.decode(video=0)]


def _bar(frame):
    """Return the bar's luma as 8-bit limited range."""
    plane = frame.planes[0]
    deep = "10" in frame.format.name
    raw = np.frombuffer(plane, np.uint16 if deep else np.uint8)
    luma = raw.reshape(-1, plane.line_size // (2 if deep else 1))[30:50, 40:80].mean()
    if deep:
        luma /= 4
    return 16 + luma * 219 / 255 if frame.format.name == "yuvj420p" else luma


@pytest.mark.parametrize(
    ("codec", "name", "depth"),
    [
        ("h264", "a.mp4", 8),
        ("hevc", "a.mp4", 8),
        ("hevc", "b.mp4", 10),
        ("mjpeg", "a.mov", 8),
        ("prores", "a.mov", 10),
    ],
)
def test_every_codec_gives_back_number_time_and_light(tmp_path, codec, name, depth):
    path = tmp_path / name
    assert _encode(path, _steps(20), codec=codec, quality=8, bit_depth=depth) == 20
    got = _decode(path)
    assert [time for time, _ in got] == [Fraction(i, 240) for i in range(20)]
    assert [_bar(frame) for _, frame in got] == pytest.approx(
        [80 + 5 * i for i in range(20)], abs=1.2
    )


def test_stamps_are_kept_to_the_tick(tmp_path):
    stamps = [Fraction(i, 240) + (Fraction(1, 120) if i > 4 else 0) for i in range(10)]
    _encode(tmp_path / "a.mp4", _steps(10), stamps=stamps)
    assert [time for time, _ in _decode(tmp_path / "a.mp4")] == stamps


def test_ntsc_rates_are_exact(tmp_path):
    _encode(tmp_path / "a.mp4", _steps(10), rate_hz=Fraction(240000, 1001))
    times = [time for time, _ in _decode(tmp_path / "a.mp4")]
    assert times == [Fraction(i * 1001, 240000) for i in range(10)]


def test_colour_is_tagged_and_kept(tmp_path):
    red = np.zeros((_HEIGHT, _WIDTH, 3), np.uint8)
    red[..., 0] = 200
    _encode(tmp_path / "a.mp4", [red] * 3, quality=4)
    frame = _decode(tmp_path / "a.mp4")[0][1]
    # BT.709 limited range: Y = 16 + 219 * 0.2126 * 200 / 255, Cr = 128 + 224 * 0.5 * 200 / 255
    luma = np.frombuffer(frame.planes[0], np.uint8)[:_WIDTH].mean()
    red_chroma = np.frombuffer(frame.planes[2], np.uint8)[: _WIDTH // 2].mean()
    assert luma == pytest.approx(52.5, abs=1.5)
    assert red_chroma == pytest.approx(215.8, abs=2)
    assert int(frame.color_range) == 1
    assert int(frame.colorspace) == 1
    assert int(frame.color_trc) == 1


def test_planar_chroma_is_kept(tmp_path):
    planar = np.full((_HEIGHT * 3 // 2, _WIDTH), 120, np.uint8)
    planar[_HEIGHT : _HEIGHT + _HEIGHT // 4] = 90
    planar[_HEIGHT + _HEIGHT // 4 :] = 150
    _encode(tmp_path / "a.mp4", [planar] * 3, quality=4)
    frame = _decode(tmp_path / "a.mp4")[0][1]
    means = [
        np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)[:, : plane.width].mean()
        for plane in frame.planes
    ]
    assert means == pytest.approx([120, 90, 150], abs=1)


def test_odd_sizes_are_kept_where_the_codec_can(tmp_path):
    path = tmp_path / "a.mov"
    _encode(path, _steps(3, 161, 97), width_px=161, height_px=97, codec="mjpeg")
    frame = _decode(path)[0][1]
    assert (frame.width, frame.height) == (161, 97)


def test_key_frames_come_as_often_as_asked(tmp_path):
    _encode(tmp_path / "a.mp4", _steps(31), key_interval=10)
    keys = [i for i, (_, frame) in enumerate(_decode(tmp_path / "a.mp4")) if frame.key_frame]
    assert keys[:4] == [0, 10, 20, 30]


def test_tags_are_written(tmp_path):
    _encode(tmp_path / "a.mp4", _steps(3), metadata={"com.android.capture.fps": "240.0"})
    with av.open(str(tmp_path / "a.mp4")) as container:
        assert container.metadata["com.android.capture.fps"] == "240.0"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"codec": "theora"}, "there is no codec 'theora'"),
        ({"width_px": 161}, "h264 cannot hold 161x96 pixels; use an even width"),
        ({"width_px": 8}, "too small"),
        ({"rate_hz": Fraction(0)}, "cannot run at 0 frames/s"),
        ({"bit_depth": 12}, "cannot hold 12 bits"),
        ({"codec": "mjpeg", "bit_depth": 10}, "mjpeg cannot hold 10 bits"),
        ({"stamps": [Fraction(0), Fraction(0)]}, "do not rise"),
        ({"stamps": [Fraction(0)]}, "only 1 time stamps were given"),
        ({"height_px": 98}, "a frame has the shape"),
    ],
)
def test_wrong_settings_are_refused_and_nothing_is_left(tmp_path, options, words):
    with pytest.raises(BadSetting) as refusal:
        _encode(tmp_path / "a.mp4", _steps(3), **options)
    assert words in str(refusal.value)
    assert list(tmp_path.iterdir()) == []


def test_a_missing_folder_is_refused(tmp_path):
    with pytest.raises(UnwritableOutput, match=r"a\.mp4: cannot be written \(no such file"):
        _encode(tmp_path / "none" / "a.mp4", _steps(3))


def test_an_interruption_leaves_the_old_film_whole(tmp_path):
    path = tmp_path / "a.mp4"
    _encode(path, _steps(3))
    before = path.read_bytes()

    def stopped():
        yield from _steps(2)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        _encode(path, stopped())
    assert path.read_bytes() == before
    assert [each.name for each in tmp_path.iterdir()] == ["a.mp4"]


def test_a_full_disk_is_one_line_and_leaves_nothing(tmp_path):
    resource = pytest.importorskip("resource")  # not on Windows
    noise = np.random.default_rng(1).integers(16, 235, (60, _HEIGHT, _WIDTH), np.uint8)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, hard))  # stands in for a full disk
    try:
        with pytest.raises(UnwritableOutput, match=r"a\.mp4: cannot be written") as refusal:
            _encode(tmp_path / "a.mp4", noise, quality=4)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert "\n" not in str(refusal.value)
    assert list(tmp_path.iterdir()) == []


def test_no_frames_are_refused(tmp_path):
    with pytest.raises(BadSetting, match="no frames"):
        _encode(tmp_path / "a.mp4", [])
    assert list(tmp_path.iterdir()) == []
