"""The box of a lamp that is all one light: exact, as on a grabbed screen without noise."""

from collections.abc import Iterator
from fractions import Fraction

import numpy as np

from blinkspan.footage.frames import Clock, Luma, PictureFormat, TransferCurve
from blinkspan.traces.proposal import propose_regions
from blinkspan.traces.regions import Rectangle, Regions

LAMP = Rectangle(50, 165, 40, 40)  # far larger than a cell of the survey
LIT = ((240, 280), (460, 490), (700, 740))


class GrabbedScreen:
    """A lamp, a panel and its answers, drawn without noise; satisfies the Frames protocol."""

    format = PictureFormat(640, 360, 8, False, TransferCurve.BT709)
    clock = Clock(np.arange(900) / 240, Fraction(240), "made of arrays")

    def __iter__(self) -> Iterator[Luma]:
        for i in range(900):
            luma = np.full((360, 640), 40, np.uint8)
            luma[20:340, 150:620] = 215
            luma[28:332, 158:612] = 100
            if any(a <= i < b for a, b in LIT):
                luma[165:205, 50:90] = 222
            if any(a + 14 <= i < a + 40 for a, _ in LIT):
                luma[120:230, 420:550] = 200
            yield luma


def test_a_large_lamp_without_noise_is_boxed():
    *_, regions = propose_regions(GrabbedScreen(), None, None, None)
    assert isinstance(regions, Regions)
    lamp = regions.lamp
    assert lamp.x <= LAMP.x
    assert lamp.x + lamp.width >= LAMP.x + LAMP.width
    assert lamp.y <= LAMP.y
    assert lamp.y + lamp.height >= LAMP.y + LAMP.height
    assert max(lamp.width, lamp.height) <= 2 * LAMP.width
