"""Small grey pictures: published (limits of limited range), and a second library as reader."""

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from blinkspan.footage.frames import PictureFormat, TransferCurve
from blinkspan.publish.pictures import cut, data_uri, grey, jpeg
from blinkspan.traces.regions import Rectangle

SHAPE = PictureFormat(64, 36, 8, False, TransferCurve.BT709)


@pytest.mark.parametrize(
    ("bits", "full", "codes"),
    [
        # ITU-R BT.709 and BT.2100: black and white at 16 and 235, 64 and 940 (common practice).
        (8, False, (16, 235)),
        (10, False, (64, 940)),
        (12, False, (256, 3760)),
        (8, True, (0, 255)),
        (10, True, (0, 1023)),
    ],
)
def test_black_and_white_come_out_black_and_white(bits, full, codes):
    shape = replace(SHAPE, bit_depth=bits, full_range=full)
    kind = np.uint8 if bits == 8 else np.uint16
    luma = np.array([[codes[0], codes[1], sum(codes) // 2]], dtype=kind)
    shown = grey(luma, shape)
    assert shown.dtype == np.uint8
    assert shown[0, :2].tolist() == [0, 255]
    assert abs(int(shown[0, 2]) - 127) <= 1


def test_footroom_and_headroom_are_held_at_the_ends():
    assert grey(np.array([[0, 10, 250, 255]], dtype=np.uint8), SHAPE).tolist() == [[0, 0, 255, 255]]


def test_a_second_reader_sees_the_same_picture():
    luma = np.add.outer(np.arange(36), np.arange(64)).astype(np.uint8) + 60
    shown = np.asarray(Image.open(io.BytesIO(jpeg(luma, SHAPE))), dtype=float)
    assert shown.shape == (36, 64)
    assert np.abs(shown - grey(luma, SHAPE)).max() < 6


def test_large_pictures_are_made_smaller_and_small_ones_left():
    luma = np.full((720, 1280), 100, dtype=np.uint8)
    assert Image.open(io.BytesIO(jpeg(luma, SHAPE, 208))).size == (208, 117)
    assert Image.open(io.BytesIO(jpeg(luma[:20, :30], SHAPE, 208))).size == (30, 20)


def test_a_cut_is_the_box():
    luma = np.arange(36 * 64, dtype=np.uint16).reshape(36, 64)
    part = cut(luma, Rectangle(5, 7, 3, 2))
    assert part.tolist() == [[453, 454, 455], [517, 518, 519]]


def test_a_picture_is_its_own_address():
    # RFC 4648, section 10: "foobar" is "Zm9vYmFy".
    assert data_uri(b"foobar") == "data:image/jpeg;base64,Zm9vYmFy"
