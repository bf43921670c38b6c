"""Light behind code values: published (BT.709, sRGB) and exact (range, depth)."""

import numpy as np
import pytest

from blinkspan.footage.frames import PictureFormat, TransferCurve
from blinkspan.traces.light import FULL_SCALE, highest_code, light_of_codes, linear_light


@pytest.mark.parametrize(
    ("signal", "light"),
    [
        (0.409008, 0.18),  # ITU-R BT.709-6, 1.2: 1.099 L^0.45 - 0.099
        (0.705515, 0.50),
        (0.0809, 0.0809 / 4.5),  # below the knee: 4.5 L
        (1.0, 1.0),
    ],
)
def test_bt709(signal, light):
    assert linear_light(np.array([signal]), TransferCurve.BT709)[0] == pytest.approx(
        light, abs=2e-6
    )


@pytest.mark.parametrize(
    ("code", "light"),
    # IEC 61966-2-1:1999, 8-bit codes
    [(1, 0.0003035), (10, 0.0030353), (11, 0.0033465), (128, 0.2158605), (188, 0.5028865)],
)
def test_srgb(code, light):
    table = light_of_codes(PictureFormat(8, 8, 8, True, TransferCurve.SRGB)) / FULL_SCALE
    assert table[code] == pytest.approx(light, abs=1e-5)  # half a step of the 16-bit table


def test_video_black_is_dark_and_equal_codes_of_ten_bits_are_equal_light():
    eight = light_of_codes(PictureFormat(8, 8, 8, False, TransferCurve.BT709)).astype(float)
    ten = light_of_codes(PictureFormat(8, 8, 10, False, TransferCurve.BT709)).astype(float)
    assert eight[16] == ten[64] == 0
    # BT.709-6, 4.6: video levels times 2^(n - 8); the tables end at 255 and 1023, so scale.
    ratio = eight[235] / ten[940]
    assert eight[126] == pytest.approx(ratio * ten[504], rel=1e-3)


@pytest.mark.parametrize(
    ("depth", "full", "code"), [(8, True, 253), (8, False, 233), (10, False, 932)]
)
def test_the_clipping_level_follows_range_and_depth(depth, full, code):
    assert highest_code(PictureFormat(8, 8, depth, full, TransferCurve.BT709)) == code
