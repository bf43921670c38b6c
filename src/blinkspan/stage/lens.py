"""Blur, movement and perspective of pictures in linear light.

Places are measured from the picture's top left edge, so the middle of the
first pixel lies at (0.5, 0.5).
"""

import cv2
import numpy as np
import numpy.typing as npt

Light = npt.NDArray[np.float32]
Places = npt.NDArray[np.float64]

_SMALL_SIGMA_PX = 6.0  # of a wide blur, on the small copy
_UNIT_SQUARE = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], np.float32)


def blurred(light: Light, sigma_px: float) -> Light:
    """Return the picture under a Gaussian blur, or itself for none."""
    if sigma_px <= 0:
        return light
    return np.asarray(cv2.GaussianBlur(light, (0, 0), sigma_px), np.float32)


def softened(light: Light, sigma_px: float) -> Light:
    """Return the picture under a very wide blur, worked out on a small copy for speed."""
    factor = max(1, round(sigma_px / _SMALL_SIGMA_PX))
    height, width = light.shape
    small = cv2.resize(
        light, (max(8, width // factor), max(8, height // factor)), interpolation=cv2.INTER_AREA
    )
    spread = cv2.GaussianBlur(small, (0, 0), sigma_px / factor)
    return np.asarray(
        cv2.resize(spread, (width, height), interpolation=cv2.INTER_CUBIC), np.float32
    )


def moved(light: Light, by_px: tuple[float, float], *, empty: bool = False) -> Light:
    """Return the picture moved by a sub-pixel amount; edges repeat, or are black if ``empty``."""
    if by_px == (0.0, 0.0):
        return light
    shift = np.array([[1, 0, by_px[0]], [0, 1, by_px[1]]], np.float64)
    border = cv2.BORDER_CONSTANT if empty else cv2.BORDER_REPLICATE
    size = (light.shape[1], light.shape[0])
    drawn = cv2.warpAffine(light, shift, size, flags=cv2.INTER_CUBIC, borderMode=border)
    return np.asarray(drawn, np.float32)


def seen_at(light: Light, corners_px: Places, size_px: tuple[int, int]) -> Light:
    """Return the picture drawn into a quadrilateral of a black canvas."""
    height, width = light.shape
    edges = np.array([(0, 0), (width, 0), (width, height), (0, height)], np.float32) - 0.5
    target = corners_px.astype(np.float32) - 0.5
    warp = cv2.getPerspectiveTransform(edges.astype(np.float32), target.astype(np.float32))
    drawn = cv2.warpPerspective(light, warp, size_px, flags=cv2.INTER_LINEAR)
    return np.asarray(drawn, np.float32)


def on_panel(places_px: Places, corners_px: Places) -> Places:
    """Return where places in the picture lie on the panel, 0 to 1 across and down."""
    to_panel = cv2.getPerspectiveTransform(corners_px.astype(np.float32), _UNIT_SQUARE)
    return _carried(places_px, to_panel)


def in_picture(places: Places, corners_px: Places) -> Places:
    """Return where places on the panel, 0 to 1 across and down, lie in the picture."""
    to_picture = cv2.getPerspectiveTransform(_UNIT_SQUARE, corners_px.astype(np.float32))
    return _carried(places, to_picture)


def between_nodes(values: Light, node_px: int, width: int) -> Light:
    """Return values given every ``node_px`` pixels from the left edge for every pixel's middle.

    Linear between nodes; ``node_px`` is even.
    """
    rows, count = values.shape
    spread = cv2.resize(values, (count * node_px, rows), interpolation=cv2.INTER_LINEAR)
    first = node_px // 2  # resizing puts each value in the middle of its own stretch
    return np.asarray(spread[:, first : first + width], np.float32)


def _carried(places: Places, transform: npt.NDArray[np.generic]) -> Places:
    """Return places taken through a perspective, whatever the array's outer shape."""
    flat = places.reshape(-1, 1, 2).astype(np.float64)
    carried = cv2.perspectiveTransform(flat, np.asarray(transform, np.float64))
    return np.asarray(carried, np.float64).reshape(places.shape)
