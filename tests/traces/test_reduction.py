"""One pass over a take: exact (area averages by hand) and refusals."""

from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
import pytest

from blinkspan.errors import BadRegion
from blinkspan.footage.frames import Clock, PictureFormat, TransferCurve
from blinkspan.traces.light import FULL_SCALE
from blinkspan.traces.reduction import Series, reduce_take
from blinkspan.traces.regions import Rectangle


@dataclass
class Planes:
    """Frames held in memory."""

    planes: list[np.ndarray]
    format: PictureFormat = field(init=False)
    clock: Clock = field(init=False)

    def __post_init__(self):
        height, width = self.planes[0].shape
        depth = 8 if self.planes[0].dtype == np.uint8 else 10
        self.format = PictureFormat(width, height, depth, True, TransferCurve.LINEAR)
        self.clock = Clock(np.arange(len(self.planes)) / 240, Fraction(240), "made")

    def __iter__(self):
        return iter(self.planes)


LAMP, WATCH = Rectangle(0, 0, 4, 4), Rectangle(8, 8, 16, 8)


def series_of(planes, watch=WATCH) -> Series:
    *_, series = reduce_take(Planes(planes), LAMP, watch)
    return series


@pytest.mark.parametrize(("dtype", "top"), [(np.uint8, 255), (np.uint16, 1023)])
def test_small_regions_pass_through_as_light(dtype, top):
    rng = np.random.default_rng(3)
    plane = rng.integers(0, top + 1, (32, 40)).astype(dtype)
    series = series_of([plane, plane])
    want = np.rint(plane[8:16, 8:24] / top * FULL_SCALE)
    assert np.abs(series.watch[1].astype(float) - want).max() <= 1
    assert series.lamp.shape == (2, 4, 4)


def test_a_large_region_is_averaged_over_whole_blocks():
    rng = np.random.default_rng(4)
    plane = rng.integers(0, 256, (300, 500)).astype(np.uint8)
    watch = Rectangle(10, 20, 480, 270)
    series = series_of([plane], watch=watch)
    part = plane[20:290, 10:490].astype(float) / 255 * FULL_SCALE
    factor = 270 // series.watch.shape[1]
    rows, columns = 270 // factor, 480 // factor
    blocks = part[: rows * factor, : columns * factor]
    blocks = blocks.reshape(rows, factor, columns, factor).mean(axis=(1, 3))
    assert series.watch[0].shape == blocks.shape
    # Halving in code values first rounds to a code: at most half of one, 128 of FULL_SCALE.
    assert np.abs(series.watch[0] - blocks).max() < 140
    assert np.abs((series.watch[0] - blocks).mean()) < 40
    assert series.watch_row_px[0] == 20 + factor / 2


def test_a_clipped_lamp_is_noticed():
    dark, lit = np.zeros((32, 40), np.uint8), np.zeros((32, 40), np.uint8)
    lit[1, 1] = 255
    assert series_of([dark, lit]).lamp_clipped.tolist() == [False, True]


@pytest.mark.parametrize(
    "watch", [Rectangle(30, 8, 16, 8), Rectangle(-1, 0, 4, 4), Rectangle(0, 0, 0, 4)]
)
def test_a_region_outside_the_picture_is_refused(watch):
    with pytest.raises(BadRegion, match="watch"):
        series_of([np.zeros((32, 40), np.uint8)] * 2, watch=watch)
