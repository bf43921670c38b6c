"""Frames at random against the same film read in order (exact), and colours by ITU-R BT.709.

What a person sees must be the frame that was measured: each looked-up frame is
held to the bit against the one that streaming gives.
"""

from fractions import Fraction

import av
import numpy as np
import pytest

from blinkspan.errors import BadSetting
from blinkspan.footage.lookup import GivenUp, Lookup
from blinkspan.footage.video import open_take

FRAMES = 90


def film(path, codec="libx264", options=None, size=(160, 90), pictures=None, **tags):
    """Return a film of a moving wave, or of pictures given as (height, width, 3) in RGB."""
    across, down = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    with av.open(str(path), "w") as made:
        stream = made.add_stream(codec, rate=Fraction(240))
        stream.width, stream.height = size
        stream.pix_fmt = "yuv420p"
        stream.options = options or {}
        for number in range(FRAMES if pictures is None else len(pictures)):
            if pictures is None:
                wave = 120 + 90 * np.sin((across + down) / 9 + number / 2)
                frame = av.VideoFrame.from_ndarray(wave.astype(np.uint8), format="gray")
                frame = frame.reformat(format="yuv420p")
            else:
                frame = av.VideoFrame.from_ndarray(pictures[number], format="rgb24")
                frame = frame.reformat(format="yuv420p", **tags)
            made.mux(stream.encode(frame))
        made.mux(stream.encode())
    return path


KINDS = {
    "key frames and B-frames": ("libx264", {"bf": "3", "g": "20"}),
    "open groups": ("libx264", {"bf": "3", "g": "20", "x264-params": "open-gop=1"}),
    "one key frame": ("libx264", {"bf": "2", "g": "9999", "sc_threshold": "0"}),
    "hevc": ("libx265", {"x265-params": "keyint=20:bframes=3:log-level=none"}),
}


@pytest.mark.parametrize("kind", KINDS)
def test_any_frame_is_the_one_that_comes_in_order(tmp_path, kind):
    take = open_take(film(tmp_path / "wave.mp4", *KINDS[kind]))
    in_order = [plane.copy() for plane in take]
    assert len(in_order) == FRAMES
    lookup = Lookup(take.reel)
    rng = np.random.default_rng(1)
    asked = [*rng.integers(0, FRAMES, 30), *range(60, 30, -1), 0, FRAMES - 1, 5, 6, 7]
    for at in map(int, asked):
        assert np.array_equal(lookup.luma(at), in_order[at]), at
    lookup.rest()
    assert np.array_equal(lookup.luma(44), in_order[44])
    lookup.rest()


def test_a_frame_nobody_waits_for_is_left_and_the_decoder_goes_on(tmp_path):
    take = open_take(film(tmp_path / "wave.mp4"))
    in_order = [plane.copy() for plane in take]
    lookup = Lookup(take.reel)
    answers = iter([True] * 10 + [False])
    with pytest.raises(GivenUp):
        lookup.luma(50, lambda: next(answers))
    for at in (12, 50, 3):
        assert np.array_equal(lookup.luma(at), in_order[at])
    with pytest.raises(BadSetting, match="give 0 to 89"):
        lookup.luma(FRAMES)
    lookup.rest()


# ITU-R BT.709, 3.2: luma is 0.2126 R + 0.7152 G + 0.0722 B; read with the matrix of BT.601
# instead, a full green would come out some 20 codes off.
COLOURS = [(200, 40, 40), (40, 200, 40), (40, 40, 200), (210, 200, 60), (128, 128, 128)]


@pytest.mark.parametrize(
    ("size", "matrix"),
    [((1280, 720), "ITU709"), ((320, 180), "ITU601")],  # what an unmarked film is taken for
)
def test_colours_come_out_as_they_were_filmed(tmp_path, size, matrix):
    pictures = [np.full((size[1], size[0], 3), colour, np.uint8) for colour in COLOURS]
    take = open_take(
        film(
            tmp_path / "colours.mp4",
            options={"crf": "4"},
            size=size,
            pictures=pictures,
            dst_colorspace=matrix,
            src_color_range="JPEG",
            dst_color_range="MPEG",
        )
    )
    lookup = Lookup(take.reel)
    for at, colour in enumerate(COLOURS):
        planes = lookup.colour(at, 64)
        assert planes.luma.shape == (36, 64)
        y, cb, cr = (float(p.mean()) for p in (planes.luma, planes.blue, planes.red))
        # ITU-T T.871, 7: from the codes of a JPEG file to red, green and blue
        seen = (
            y + 1.402 * (cr - 128),
            y - 0.344136 * (cb - 128) - 0.714136 * (cr - 128),
            y + 1.772 * (cb - 128),
        )
        assert seen == pytest.approx(colour, abs=6)
    lookup.rest()


def test_a_turned_picture_is_shown_upright_in_colour_as_in_luma(make_film):
    quarter = [0, 1 << 16, 0, -(1 << 16), 0, 0, 0, 0, 1 << 30]  # ISO/IEC 14496-12, 8.3.2
    take = open_take(make_film(matrix=quarter))
    assert take.format.height_px > take.format.width_px
    lookup = Lookup(take.reel)
    luma, colour = lookup.luma(3).astype(float), lookup.colour(3).luma.astype(float)
    assert colour.shape == luma.shape == (take.format.height_px, take.format.width_px)
    spread = np.clip((luma - 16) * 255 / 219, 0, 255)  # ITU-R BT.601: from limited to full range
    assert np.abs(colour - spread).mean() < 2.0
    lookup.rest()
