"""The panel as the camera sees it: which share of each picture every pixel gathers.

A pixel at height ``v`` of the panel (0 top, 1 bottom) takes game frame j's light
at ``change_s[j] + v * scan_s`` and moves towards it exponentially. Within one
exposure a pixel therefore gathers, of each frame j, a share A of its full light
and a share B of what still separates it from there. Both are exact integrals.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.stage.lens import Light, blurred, on_panel, seen_at
from blinkspan.stage.light import Instants, Pulse, fading, lit
from blinkspan.stage.scene import Display

_MARGIN_PX = 4  # round the panel, for its soft edges
_NODE_EVERY_PX = 12  # where the panel leans, timing is exact at columns so far apart


@dataclass(frozen=True, slots=True)
class PanelView:
    """Where the panel lies in the picture.

    Attributes
    ----------
    corners_px : ndarray, shape (4, 2)
        From top left clockwise, measured from the picture's top left edge.
    left, top, width, height : int
        The box of pixels it touches.
    height_at : ndarray, shape (height, n)
        Height on the panel, 0 to 1, of each row at each of n columns.
    columns : ndarray, shape (n, width) or None
        Weights that carry the n columns to every pixel; None where rows are level.
    """

    corners_px: npt.NDArray[np.float64]
    left: int
    top: int
    width: int
    height: int
    height_at: Instants
    columns: Light | None

    @property
    def box(self) -> tuple[slice, slice]:
        """The panel's pixels, to index a picture with."""
        return slice(self.top, self.top + self.height), slice(self.left, self.left + self.width)


@dataclass(frozen=True, slots=True)
class Shown:
    """One game frame on the panel, in the camera's pixels.

    Attributes
    ----------
    change_s : float
        When its scan-out starts in the top row.
    full : ndarray
        Light once settled, shape (height, width) of the view.
    rising, falling : ndarray or None
        What the pixel still lacks of it (below 0) or has over it (above 0) at the
        change; None where pixels change at once.
    """

    change_s: float
    full: Light
    rising: Light | None = None
    falling: Light | None = None


def view_panel(display: Display, width_px: int, height_px: int) -> PanelView:
    """Return where the panel lies in a picture of that size."""
    corners = np.array(display.corners) * (width_px, height_px)
    left = max(0, int(corners[:, 0].min()) - _MARGIN_PX)
    top = max(0, int(corners[:, 1].min()) - _MARGIN_PX)
    right = min(width_px, int(np.ceil(corners[:, 0].max())) + _MARGIN_PX)
    bottom = min(height_px, int(np.ceil(corners[:, 1].max())) + _MARGIN_PX)
    level = corners[0, 1] == corners[1, 1] and corners[2, 1] == corners[3, 1]
    count = 1 if level else 2 + (right - left) // _NODE_EVERY_PX
    nodes = np.linspace(left + 0.5, right - 0.5, count)
    rows = np.arange(top, bottom) + 0.5
    points = np.stack(np.meshgrid(nodes, rows), axis=-1)
    heights = np.clip(on_panel(points, corners)[..., 1], 0.0, 1.0)
    columns = None
    if not level:
        pixels = np.arange(left, right) + 0.5
        columns = np.array([np.interp(pixels, nodes, row) for row in np.eye(count)], np.float32)
    return PanelView(corners, left, top, right - left, bottom - top, heights, columns)


def project(picture: Light, view: PanelView, blur_px: float) -> Light:
    """Return a game picture as the lens draws it in the panel's box, black outside the panel."""
    corners = view.corners_px - (view.left, view.top)
    return blurred(seen_at(picture, corners, (view.width, view.height)), blur_px)


def settle(before: Shown, full: Light, change_s: float, display: Display) -> Shown:
    """Return the next frame on the panel, starting from where the one before has come to."""
    if display.rise_ms == 0.0 and display.fall_ms == 0.0:
        return Shown(change_s, full)
    reached = before.full
    elapsed_ms = (change_s - before.change_s) * 1e3
    if before.rising is not None and before.falling is not None:
        reached = (
            reached
            + before.rising * _remains(elapsed_ms, display.rise_ms)
            + before.falling * _remains(elapsed_ms, display.fall_ms)
        )
    apart = reached - full
    return Shown(change_s, full, np.minimum(apart, 0.0), np.maximum(apart, 0.0))


def gather(
    view: PanelView,
    shown: list[Shown],
    display: Display,
    row_start_s: Instants,
    exposure_s: float,
    backlight: Pulse | None,
) -> Light:
    """Return the panel's light in its box, as a mean over each row's exposure.

    Parameters
    ----------
    shown : list of Shown
        Consecutive frames in order of time; the first covers the earliest exposure.
    row_start_s : ndarray, shape (height,)
        When each row of the box starts to gather light.
    """
    scan_s = display.scan_fraction / float(display.refresh_hz)
    offset = view.height_at * scan_s
    start = np.broadcast_to(row_start_s[:, None], offset.shape)
    stop = start + exposure_s
    total = np.zeros((view.height, view.width), np.float32)
    scratch = np.empty_like(total)
    for index, frame in enumerate(shown):
        since = frame.change_s + offset
        until = shown[index + 1].change_s + offset if index + 1 < len(shown) else np.inf
        first = np.maximum(start, since) if index > 0 else start
        last = np.maximum(np.minimum(stop, until), first)
        if not np.any(last > first):
            continue
        _add(total, scratch, frame.full, lit(first, last, backlight) / exposure_s, view)
        for lack, tau_ms in ((frame.rising, display.rise_ms), (frame.falling, display.fall_ms)):
            if lack is not None and tau_ms > 0.0:
                share = fading(first, last, since, tau_ms / 1e3, backlight) / exposure_s
                _add(total, scratch, lack, share, view)
    return total


def _add(total: Light, scratch: Light, light: Light, share: Instants, view: PanelView) -> None:
    """Add a share of a frame's light, the share given per row or per node."""
    weights = share.astype(np.float32)
    if view.columns is not None:
        weights = weights @ view.columns
    np.multiply(light, weights, out=scratch)
    np.add(total, scratch, out=total)


def _remains(elapsed_ms: float, tau_ms: float) -> np.float32:
    """Return what is left of a difference after a time."""
    return np.float32(np.exp(-elapsed_ms / tau_ms) if tau_ms > 0.0 else 0.0)
