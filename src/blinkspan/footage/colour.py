"""From a decoded frame to colour planes for the eye, as JPEG files hold them.

Nothing is measured in these: measuring reads luma as it was stored.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from av.video.frame import VideoFrame
from av.video.reformatter import ColorRange, Colorspace, Interpolation, VideoReformatter

from blinkspan.footage.luma import Turn, full_range, turned

Plane = npt.NDArray[np.uint8]

# ITU-T H.273, table 4: numbers of matrices that the converter knows by the same number.
_MATRICES = frozenset(int(each) for each in Colorspace)
_SAME_AS_BT601 = 6
# Films that do not say: BT.709 from this height on (common practice of players).
_HIGH_DEFINITION_PX = 720


@dataclass(frozen=True, slots=True)
class ColourPlanes:
    """Luma and the two colour differences, each of half the width and height, upright.

    All codes run from 0 to 255 with the matrix of ITU-R BT.601, as ITU-T T.871
    (the JPEG file interchange format) asks for.

    Attributes
    ----------
    luma : ndarray of uint8, shape (height, width)
    blue, red : ndarray of uint8, shape (half the height, half the width), rounded up
    """

    luma: Plane
    blue: Plane
    red: Plane


def colour_planes(
    frame: VideoFrame, turn: Turn, converter: VideoReformatter, width_px: int | None = None
) -> ColourPlanes:
    """Return a frame's colour planes as shown.

    Parameters
    ----------
    converter : VideoReformatter
        Used again for the frames of one film; a frame's own would live as long as the frame.
    width_px : int | None
        How wide the picture may be at most, as shown; None for as wide as it is.
    """
    width, height = frame.width, frame.height
    shown_px = height if turn.transpose else width
    if width_px is not None and width_px < shown_px:
        scale = width_px / shown_px
        width, height = max(2, round(width * scale)), max(2, round(height * scale))
    made = converter.reformat(
        frame,
        width=width,
        height=height,
        format="yuv420p",
        src_colorspace=_matrix(frame),
        dst_colorspace=Colorspace.ITU601,
        src_color_range=ColorRange.JPEG if full_range(frame) else ColorRange.MPEG,
        dst_color_range=ColorRange.JPEG,
        interpolation=Interpolation.AREA,
        threads=1,
    )
    half = ((height + 1) // 2, (width + 1) // 2)
    sizes = ((height, width), half, half)
    luma, blue, red = (
        np.ascontiguousarray(
            turned(
                np.frombuffer(memoryview(plane), np.uint8).reshape(-1, plane.line_size)[
                    : size[0], : size[1]
                ],
                turn,
            )
        )
        for plane, size in zip(made.planes, sizes, strict=True)
    )
    return ColourPlanes(luma, blue, red)


def _matrix(frame: VideoFrame) -> Colorspace:
    """Return how luma and colour differences were made of red, green and blue."""
    stated = int(frame.colorspace)
    if stated == _SAME_AS_BT601:
        return Colorspace.ITU601
    if stated in _MATRICES:
        return Colorspace(stated)
    high = min(frame.width, frame.height) >= _HIGH_DEFINITION_PX
    return Colorspace.ITU709 if high else Colorspace.ITU601
