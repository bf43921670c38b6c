"""How coarsely a film is encoded, against quantisers that the encoder was given.

Published sources (clauses from memory): ITU-T H.264, 8.5, and H.265, 8.6: the quantiser's step
doubles with every six of its parameter. ISO/IEC 13818-2, 7.4.2: it is twice the code that an
encoder of MPEG-2 or MPEG-4 is given. VP9's bitstream specification: a step of 102 eighths of a
code at an index of 95, of 1828 at 255.
"""

from contextlib import suppress
from fractions import Fraction
from pathlib import Path

import av
import av.logging
import numpy as np
import pytest

from blinkspan.errors import UnreadableTake
from blinkspan.footage.headers import step_of_index
from blinkspan.footage.video import open_take

WIDTH, HEIGHT = 128, 96


def encoded(
    path: Path, codec: str = "libx264", pixels: str = "yuv420p", keys: int = 240, **options: str
) -> float:
    """Return the coarseness of a drifting texture, encoded so."""
    texture = np.random.default_rng(1).uniform(30, 220, (HEIGHT, WIDTH + 24)).astype(np.uint8)
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=Fraction(240), options=options)
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, pixels
        stream.codec_context.gop_size = keys
        for k in range(24):
            grey = np.full((HEIGHT * 3 // 2, WIDTH), 128, np.uint8)
            grey[:HEIGHT] = texture[:, k : k + WIDTH]
            frame = av.VideoFrame.from_ndarray(grey, format="yuv420p").reformat(format=pixels)
            frame.pts = k
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return open_take(path).format.coarseness


@pytest.mark.parametrize(("parameter", "times"), [(15, 1.0), (25, 1.0), (31, 2.0), (37, 4.0)])
def test_steps_double_with_every_six_of_the_parameter(tmp_path, parameter, times):
    assert encoded(tmp_path / "a.mp4", qp=str(parameter), bf="0") == pytest.approx(times, rel=0.01)


def test_pictures_that_build_on_both_sides_count_as_they_are_encoded(tmp_path):
    # Common practice of encoders: such pictures take a parameter of about two more.
    assert 2.0 < encoded(tmp_path / "a.mp4", qp="31", bf="3") < 2.6


def test_pictures_that_all_stand_alone_count_too(tmp_path):
    # Common practice of encoders: such pictures take a parameter of about three less.
    assert encoded(tmp_path / "a.mp4", keys=1, qp="37") == pytest.approx(2**1.5, rel=0.1)


def test_deeper_samples_count_from_a_lower_parameter(tmp_path):
    eight = encoded(tmp_path / "a.mp4", crf="34", bf="0")
    ten = encoded(tmp_path / "b.mp4", pixels="yuv420p10le", crf="34", bf="0")
    assert ten == pytest.approx(eight, rel=0.25)


@pytest.mark.parametrize("pixels", ["yuv420p", "yuv420p10le"])
@pytest.mark.parametrize(("parameter", "times"), [(20, 1.0), (25, 1.0), (31, 2.0), (37, 4.0)])
def test_headers_of_hevc_tell_the_parameter(tmp_path, parameter, times, pixels):
    given = {"x265-params": f"qp={parameter}:bframes=0:log-level=none"}
    assert encoded(tmp_path / "a.mp4", "libx265", pixels, **given) == pytest.approx(times, rel=0.01)


def test_hevc_whose_blocks_have_their_own_parameters_counts_as_finer(tmp_path):
    one, own = (
        encoded(
            tmp_path / f"{mode}.mp4",
            "libx265",
            **{"x265-params": f"crf=31:bframes=0:cutree=0:aq-mode={mode}:log-level=none"},
        )
        for mode in (0, 2)
    )
    assert own == pytest.approx(one / 2, rel=0.15)


@pytest.mark.parametrize("codec", ["mpeg4", "mpeg2video"])
@pytest.mark.parametrize("code", [5, 10, 20])
def test_blocks_of_mpeg_tell_their_scale(tmp_path, codec, code):
    given = {"qmin": f"{code}", "qmax": f"{code}", "b": "100000000"}
    film = tmp_path / ("a.avi" if codec == "mpeg4" else "a.mpg")
    good = 0.625 * 2 ** (25 / 6)
    assert encoded(film, codec, **given) == pytest.approx(max(2 * code / good, 1.0), rel=0.01)


@pytest.mark.parametrize(("index", "codes"), [(1, 1.0), (95, 102 / 8), (255, 1828 / 8)])
def test_ends_of_the_lookup_of_vp9(index, codes):
    assert step_of_index(index) == pytest.approx(codes)


def test_headers_of_vp9_tell_the_index(tmp_path):
    # Common practice of that encoder: its scale of 0 to 63 is four of the index.
    given = {"crf": "40", "qmin": "40", "qmax": "40", "b": "0", "deadline": "realtime"}
    good = 0.625 * 2 ** (25 / 6)
    told = encoded(tmp_path / "a.webm", "libvpx-vp9", **given)
    assert told == pytest.approx(step_of_index(160) / good, rel=0.1)


def test_headers_of_av1_tell_more_of_coarser_film(tmp_path):
    fine, coarse = (
        encoded(tmp_path / f"{at}.mp4", "libsvtav1", preset="10", **{"svtav1-params": f"qp={at}"})
        for at in (10, 60)
    )
    assert fine == 1.0
    assert coarse > 4.0


def test_a_codec_that_does_not_tell_counts_as_good(tmp_path):
    assert encoded(tmp_path / "a.mkv", "mjpeg", "yuvj420p") == 1.0


def test_the_middle_of_a_film_counts_not_its_start(tmp_path):
    film = tmp_path / "a.mp4"
    with av.open(str(film), "w") as container:
        stream = container.add_stream("mpeg4", rate=Fraction(240), options={"qmin": "2"})
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, "yuv420p"
        stream.codec_context.gop_size, stream.codec_context.bit_rate = 12, 500_000
        texture = np.random.default_rng(1).uniform(30, 220, (HEIGHT, WIDTH)).astype(np.uint8)
        for k in range(480):
            grey = np.full((HEIGHT * 3 // 2, WIDTH), 128, np.uint8)
            # What stays is cheap: the encoder starts finely, and pays for it later.
            grey[:HEIGHT] = texture if k < 24 else np.roll(texture, 7 * k, axis=1)
            frame = av.VideoFrame.from_ndarray(grey, format="yuv420p")
            frame.pts = k
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    assert open_take(film).format.coarseness > 2.0


def test_tracing_headers_leaves_the_log_as_it_was(tmp_path):
    before = av.logging.get_level()
    encoded(tmp_path / "a.mp4", "libx265", **{"x265-params": "log-level=none"})
    assert av.logging.get_level() == before


def test_a_film_damaged_amid_still_opens_or_is_refused_in_words(tmp_path):
    film = tmp_path / "a.mp4"
    encoded(film, "libx265", **{"x265-params": "log-level=none"})
    whole = film.read_bytes()
    media = whole.index(b"mdat") + 200
    for at in range(media, len(whole) - 400, 997):
        film.write_bytes(whole[:at] + bytes(300) + whole[at + 300 :])
        with suppress(UnreadableTake):
            assert open_take(film).format.coarseness >= 1.0
