"""How coarsely a film is encoded, against quantisers that the encoder was given.

Published source: ITU-T H.264, 8.5 (scaling and transformation; the clause from memory): the
quantiser's step doubles with every six of its parameter.
"""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

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


@pytest.mark.parametrize(("codec", "pixels"), [("libx265", "yuv420p"), ("mjpeg", "yuvj420p")])
def test_a_codec_that_does_not_tell_counts_as_good(tmp_path, codec, pixels):
    assert encoded(tmp_path / "a.mkv", codec, pixels) == 1.0
