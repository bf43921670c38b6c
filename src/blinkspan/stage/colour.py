"""Colour for the eye alone: chroma looked up from luma, place by place.

The measuring works on luma, so the stage's physics does too. A dusk tint on the
panel, a warm one in the room and the lamp's own make the film look like one.
"""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from blinkspan.stage.lens import Light

Codes = npt.NDArray[np.uint8]

# Chroma (blue, red) against luma code: night blue, violet dusk, lantern amber.
_DUSK_LUMA = (16, 60, 100, 140, 180, 235)
_DUSK_BLUE = (132, 142, 140, 126, 108, 122)
_DUSK_RED = (126, 122, 126, 134, 142, 131)
_ROOM_BLUE, _ROOM_RED = 124, 131
_LAMP_BLUE, _LAMP_RED = -22.0, -26.0  # a green lamp


@dataclass(frozen=True, slots=True)
class Tint:
    """Chroma tables and where they hold, at half the picture's size."""

    blue: Codes
    red: Codes
    on_panel: npt.NDArray[np.bool_]


def plan_tint(panel_cover: Light) -> Tint:
    """Return the tint of a picture, given how much of each pixel is panel."""
    codes = np.arange(256)
    blue = np.interp(codes, _DUSK_LUMA, _DUSK_BLUE).astype(np.uint8)
    red = np.interp(codes, _DUSK_LUMA, _DUSK_RED).astype(np.uint8)
    return Tint(blue, red, panel_cover[::2, ::2] > 0.5)


def tinted(luma: Codes, tint: Tint, lamp_box: tuple[slice, slice], lamp_colour: Light) -> Codes:
    """Return the planar picture: luma, then both chroma planes at half size.

    Parameters
    ----------
    lamp_colour : ndarray
        Share of the light in ``lamp_box`` that is the lamp's.
    """
    height, width = luma.shape
    half = cv2.resize(luma, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
    blue = np.where(tint.on_panel, tint.blue[half], np.uint8(_ROOM_BLUE))
    red = np.where(tint.on_panel, tint.red[half], np.uint8(_ROOM_RED))
    rows, columns = (slice((s.start + 1) // 2, s.stop // 2) for s in lamp_box)
    share = lamp_colour[rows.start * 2 - lamp_box[0].start :: 2,
                        columns.start * 2 - lamp_box[1].start :: 2]  # fmt: skip
    share = share[: rows.stop - rows.start, : columns.stop - columns.start]
    blue[rows, columns] = (blue[rows, columns] + _LAMP_BLUE * share).astype(np.uint8)
    red[rows, columns] = (red[rows, columns] + _LAMP_RED * share).astype(np.uint8)
    chroma = np.concatenate((blue.ravel(), red.ravel())).reshape(height // 2, width)
    return np.concatenate((luma, chroma))
