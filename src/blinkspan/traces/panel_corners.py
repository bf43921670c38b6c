"""The panel's corners far below a pixel, from lines fitted to its four edges in full pictures.

Each edge is looked at in many places across it; the line through the places of
steepest light gives the side, whatever single places show (a bright window at
the rim, a hand before the panel), and the corners are where the sides meet.

References
----------
P. J. Huber, "Robust estimation of a location parameter", Annals of Mathematical
Statistics 35 (1964) 73-101: least squares with far points held back.
"""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d

from blinkspan.footage.frames import PictureFormat
from blinkspan.traces.light import light_of_codes
from blinkspan.traces.regions import Quadrilateral
from blinkspan.traces.survey import Codes, Survey
from blinkspan.traces.trace import Samples

_PLACES = 240  # along each side
_STEP_PX = 0.5
_BLUR_PX = 1.0
_PASSES = (1.0, 0.5, 0.3)  # how far across to look, in shares of the search's own error
_CORNER_SHARE = 0.03  # of a side at each end, left out: two edges meet there
_LEAST_PLACES = 0.5  # share of places that lie on the line
_LEAST_CONTRAST = 0.0003  # of full light over half a pixel; the noise of a mean stays below
_FAINTEST = 1 / 16  # of the steepest side's fall of light: less may be a shadow on the screen
_ROUGHEST_PX = 1.5  # scatter about the line beyond which a side is no edge

Places = npt.NDArray[np.float64]  # shape (..., 2), x and y


@dataclass(frozen=True, slots=True)
class _Side:
    """Two places on a line, and how steeply the light falls across it."""

    begin: Places
    end: Places
    fall: float


def refined_panel(survey: Survey, corners: Places, error_px: float) -> Quadrilateral | None:
    """Return the panel through the edges nearest the given corners, None where a side is no edge.

    Parameters
    ----------
    survey : Survey
    corners : ndarray, shape (4, 2)
        From top left clockwise, in pixels of the take.
    error_px : float
        How far off they may be.
    """
    scale = survey.still_factor
    for codes in (survey.mean, survey.most):
        light = _light(codes, survey.picture)
        found: Places | None = corners / scale
        for share in _PASSES:
            reach = max(3.0, share * error_px / scale)
            found = None if found is None else _fitted(light, found, reach)
        if found is not None and np.abs(found * scale - corners).max() <= 2 * error_px:
            a, b, c, d = ((float(x), float(y)) for x, y in found * scale)
            return Quadrilateral((a, b, c, d))
    return None


def _light(codes: Codes, picture: PictureFormat) -> Codes:
    """Return linear light, 0 to 1, of code values on the 8-bit scale."""
    table = light_of_codes(picture)
    light = np.interp(codes * 2 ** (picture.bit_depth - 8), np.arange(table.size), table)
    return np.asarray(light / table[-1], np.float32)


def _fitted(light: Codes, corners: Places, reach: float) -> Places | None:
    """Return the corners in which lines through the four edges meet."""
    sides = []
    for begin, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        side = _side(light, begin, end, reach)
        if side is None:
            return None
        sides.append(side)
    falls = [side.fall for side in sides]
    if min(falls) < _FAINTEST * max(falls):
        return None
    return np.array([_meeting(sides[k - 1], sides[k]) for k in range(4)])


def _side(light: Codes, begin: Places, end: Places, reach: float) -> _Side | None:
    """Return the line along the edge near a given one, or None without an edge."""
    length = float(np.linalg.norm(end - begin))
    along = (end - begin) / length
    outwards = np.array([along[1], -along[0]])  # the panel lies to the right of its clockwise sides
    at = np.linspace(_CORNER_SHARE, 1 - _CORNER_SHARE, _PLACES) * length
    across = np.arange(-reach - 2, reach + 2 + _STEP_PX, _STEP_PX)
    grid = begin + at[:, None, None] * along + across[None, :, None] * outwards
    seen = cv2.remap(
        light,
        (grid[..., 0] - 0.5).astype(np.float32),
        (grid[..., 1] - 0.5).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    fall = -gaussian_filter1d(np.asarray(seen, np.float64), _BLUR_PX / _STEP_PX, axis=1, order=1)
    inner = fall[:, 2:-2]
    steepest = 2 + np.argmax(inner, axis=1)
    here = fall[np.arange(_PLACES), steepest]
    before, after = fall[np.arange(_PLACES), steepest - 1], fall[np.arange(_PLACES), steepest + 1]
    bend = before - 2 * here + after
    part = np.where(bend < 0, 0.5 * (before - after) / np.where(bend < 0, bend, -1.0), 0.0)
    offset = across[0] + (steepest + np.clip(part, -0.5, 0.5)) * _STEP_PX
    clear = here > _LEAST_CONTRAST
    if clear.sum() < _LEAST_PLACES * _PLACES:
        return None
    line = _robust_line(at[clear], offset[clear])
    if line is None or line[2] < _LEAST_PLACES * _PLACES:
        return None
    first, slope, _ = line
    return _Side(
        begin + first * outwards,
        begin + length * along + (first + slope * length) * outwards,
        float(np.median(here[clear])),
    )


def _robust_line(x: Samples, y: Samples) -> tuple[float, float, int] | None:
    """Return the value at 0, the slope, and how many points lie by the line; None if too rough."""
    weight = np.ones_like(x)
    for _ in range(25):
        slope, first = np.polyfit(x, y, 1, w=np.sqrt(weight))
        off = np.abs(y - first - slope * x)
        width = max(0.15, 1.4826 * float(np.median(off)))
        weight = 1.0 / (1.0 + (off / width) ** 2) ** 2
    if width > _ROUGHEST_PX:
        return None
    return float(first), float(slope), int((off <= 3 * width).sum())


def _meeting(one: _Side, other: _Side) -> Places:
    """Return where two sides cross."""
    along, across = one.end - one.begin, other.end - other.begin
    gap = other.begin - one.begin
    share = (gap[0] * across[1] - gap[1] * across[0]) / (
        along[0] * across[1] - along[1] * across[0]
    )
    place: Places = one.begin + share * along
    return place
