"""Frames as the bytes of a picture file: JPEG straight from the planes, or WebP."""

from dataclasses import dataclass

import cv2
import numpy as np
import simplejpeg

from blinkspan.footage.colour import ColourPlanes, Plane
from blinkspan.footage.frames import Luma, PictureFormat
from blinkspan.publish.pictures import Grey, grey
from blinkspan.traces.regions import Rectangle

QUALITY = 85


@dataclass(frozen=True, slots=True)
class View:
    """What of a frame is shown, and how.

    Attributes
    ----------
    crop : Rectangle | None
        A part of it, in pixels of the take.
    width_px : int | None
        How wide at most.
    plain : bool
        In grey as it was measured, instead of in colour.
    webp : bool
        As WebP, which is smaller and takes thirty times as long, instead of as JPEG.
    """

    crop: Rectangle | None = None
    width_px: int | None = None
    plain: bool = False
    webp: bool = False


WHOLE = View()


def picture_of(planes: ColourPlanes, shape: PictureFormat, view: View) -> bytes:
    """Return what a view shows of a frame in colour.

    Raises
    ------
    BadRegion
        The part lies outside the picture.
    """
    if view.crop is not None:
        planes = _part(planes, view.crop.within(shape.width_px, shape.height_px, "asked for"))
    planes = _narrower(planes, view.width_px)
    return webp_of(planes) if view.webp else jpeg_of(planes)


def plain_picture_of(luma: Luma, shape: PictureFormat, view: View) -> bytes:
    """Return what a view shows of a luma plane, in grey.

    Raises
    ------
    BadRegion
        The part lies outside the picture.
    """
    if view.crop is not None:
        box = view.crop.within(shape.width_px, shape.height_px, "asked for")
        luma = luma[box.y : box.y + box.height, box.x : box.x + box.width]
    shown = _grey(luma, shape)
    height, width = shown.shape
    if view.width_px is not None and view.width_px < width:
        shown = _resized(shown, view.width_px, max(1, round(height * view.width_px / width)))
    if view.webp:
        return _webp(shown)
    made: bytes = simplejpeg.encode_jpeg(
        np.ascontiguousarray(shown)[:, :, None], QUALITY, "GRAY", "Gray"
    )
    return made


def jpeg_of(planes: ColourPlanes, quality: int = QUALITY) -> bytes:
    """Return colour planes as JPEG, encoded as they are."""
    made: bytes = simplejpeg.encode_jpeg_yuv_planes(planes.luma, planes.blue, planes.red, quality)
    return made


def webp_of(planes: ColourPlanes) -> bytes:
    """Return colour planes as WebP."""
    height, width = planes.luma.shape
    blue, red = (_resized(each, width, height) for each in (planes.blue, planes.red))
    return _webp(cv2.cvtColor(cv2.merge((planes.luma, red, blue)), cv2.COLOR_YCrCb2BGR))


def _webp(picture: np.ndarray) -> bytes:
    _, coded = cv2.imencode(".webp", picture, [cv2.IMWRITE_WEBP_QUALITY, QUALITY])
    return coded.tobytes()


def _part(planes: ColourPlanes, box: Rectangle) -> ColourPlanes:
    """Return a part of the picture; its colours are spread first, for it may begin between two."""
    rows, columns = slice(box.y, box.y + box.height), slice(box.x, box.x + box.width)
    height, width = planes.luma.shape
    spread = (
        each.repeat(2, axis=0)[:height].repeat(2, axis=1)[:, :width]
        for each in (planes.blue, planes.red)
    )
    return ColourPlanes(
        *(np.ascontiguousarray(each[rows, columns]) for each in (planes.luma, *spread))
    )


def _narrower(planes: ColourPlanes, width_px: int | None) -> ColourPlanes:
    height, width = planes.luma.shape
    if width_px is None or width_px >= width:
        return planes
    size = width_px, max(1, round(height * width_px / width))
    return ColourPlanes(*(_resized(each, *size) for each in (planes.luma, planes.blue, planes.red)))


def _resized(plane: Plane, width: int, height: int) -> Plane:
    return np.asarray(cv2.resize(plane, (width, height), interpolation=cv2.INTER_AREA), np.uint8)


def _grey(luma: Luma, shape: PictureFormat) -> Grey:
    if shape.bit_depth > 8:
        return grey(luma, shape)
    table = grey(np.arange(256, dtype=np.uint8), shape)  # OpenCV looks up four times as fast
    return np.asarray(cv2.LUT(np.ascontiguousarray(luma), table), np.uint8)
