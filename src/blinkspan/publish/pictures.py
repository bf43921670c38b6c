"""Luma planes as small grey pictures that a page can carry."""

import base64

import cv2
import numpy as np
import numpy.typing as npt

from blinkspan.footage.frames import Luma, PictureFormat
from blinkspan.traces.regions import Rectangle

Grey = npt.NDArray[np.uint8]

STILL_PX = 1280
_QUALITY = 78

# ITU-R BT.601, BT.709 and BT.2020: black and white of limited-range luma, at 8 bits.
_BLACK, _WHITE = 16, 235


def grey(luma: Luma, shape: PictureFormat) -> Grey:
    """Return the plane, or a part of one, as 8-bit grey from 0 black to 255 white."""
    deeper = 1 << (shape.bit_depth - 8)
    black, white = (
        (0, (1 << shape.bit_depth) - 1) if shape.full_range else (_BLACK * deeper, _WHITE * deeper)
    )
    codes = np.arange(1 << shape.bit_depth, dtype=np.float64)
    table = np.clip(np.rint((codes - black) * (255.0 / (white - black))), 0, 255)
    return table.astype(np.uint8)[luma]


def jpeg(luma: Luma, shape: PictureFormat, longest_px: int = STILL_PX) -> bytes:
    """Return the plane as JPEG, made smaller where a side is longer than ``longest_px``."""
    picture = grey(luma, shape)
    height, width = picture.shape
    scale = longest_px / max(height, width)
    if scale < 1:
        size = (max(1, round(width * scale)), max(1, round(height * scale)))
        picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
    _, coded = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    return coded.tobytes()


def cut(luma: Luma, box: Rectangle) -> Luma:
    """Return the part of the plane inside the box, as a view."""
    return luma[box.y : box.y + box.height, box.x : box.x + box.width]


def data_uri(picture: bytes) -> str:
    """Return a JPEG as the address of itself, so that a page needs no second file."""
    return f"data:image/jpeg;base64,{base64.b64encode(picture).decode('ascii')}"
