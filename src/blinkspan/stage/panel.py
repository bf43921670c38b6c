"""The panel as the camera sees it: which share of each picture every pixel gathers.

A pixel at height ``v`` of the panel (0 top, 1 bottom) takes game frame j's light
at ``change_s[j] + v * scan_s`` and moves towards it exponentially. Within one
exposure a pixel therefore gathers, of each frame j, a share A of its full light
and a share B of what still separates it from there. Both are exact integrals.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.stage.equipment import Display
from blinkspan.stage.lens import Light, between_nodes, blurred, on_panel, seen_at
from blinkspan.stage.light import Instants, Pulse, fading, lit

_MARGIN_PX = 4  # round the panel, for its soft edges
NODE_PX = 12  # where the panel leans, timing is exact at columns so far apart


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
        Height on the panel, 0 to 1, of each row at each of n columns; one where rows
        are level, else every ``NODE_PX`` pixels from the box's left edge.
    """

    corners_px: npt.NDArray[np.float64]
    left: int
    top: int
    width: int
    height: int
    height_at: Instants

    @property
    def leans(self) -> bool:
        """Whether a row of the picture meets more than one row of the panel."""
        return bool(self.height_at.shape[1] > 1)

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
    count = 1 if level else 2 + (right - left) // NODE_PX
    nodes = left + NODE_PX * np.arange(count)
    rows = np.arange(top, bottom) + 0.5
    points = np.stack(np.meshgrid(nodes, rows), axis=-1)
    heights = np.clip(on_panel(points, corners)[..., 1], 0.0, 1.0)
    return PanelView(corners, left, top, right - left, bottom - top, heights)


def project(picture: Light, view: PanelView, blur_px: float) -> Light:
    """Return a game picture as the lens draws it in the panel's box, black outside the panel."""
    corners = view.corners_px - (view.left, view.top)
    return blurred(seen_at(picture, corners, (view.width, view.height)), blur_px)


def cover(view: PanelView, width_px: int, height_px: int) -> Light:
    """Return how much of each pixel of the whole picture is panel, 0 to 1."""
    return seen_at(np.ones((36, 64), np.float32), view.corners_px, (width_px, height_px))


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
    shown: Sequence[Shown],
    offset_s: Instants,
    row_start_s: Instants,
    exposure_s: float,
    display: Display,
    backlight: Pulse | None,
    width: int | None = None,
) -> Light:
    """Return the panel's light as a mean over each row's exposure.

    Parameters
    ----------
    shown : sequence of Shown
        Consecutive frames in order of time; the first covers the earliest exposure.
    offset_s : ndarray, shape (rows, n)
        From the start of a scan-out to each place's own turn.
    row_start_s : ndarray, shape (rows,)
        When each row starts to gather light.
    width : int, optional
        Of the frames, where the places are columns every ``NODE_PX`` of it.
    """
    start = np.broadcast_to(row_start_s[:, None], offset_s.shape)
    stop = start + exposure_s
    total: Light | None = None
    for index, frame in enumerate(shown):
        since = frame.change_s + offset_s
        until = shown[index + 1].change_s + offset_s if index + 1 < len(shown) else np.inf
        first = np.maximum(start, since) if index > 0 else start
        last = np.maximum(np.minimum(stop, until), first)
        if not np.any(last > first):
            continue
        parts = [(frame.full, lit(first, last, backlight))]
        for lack, tau_ms in ((frame.rising, display.rise_ms), (frame.falling, display.fall_ms)):
            if lack is not None and tau_ms > 0.0:
                parts.append((lack, fading(first, last, since, tau_ms / 1e3, backlight)))
        for light, gathered_s in parts:
            share = (gathered_s / exposure_s).astype(np.float32)
            added = light * (share if width is None else between_nodes(share, NODE_PX, width))
            total = added if total is None else np.add(total, added, out=total)
    assert total is not None, "every exposure lies in some frame"
    return total


def in_bands(frame: Shown, edges: npt.NDArray[np.intp]) -> Shown:
    """Return the frame with each band of rows, from one edge to the next, as one mean."""
    size = np.append(np.diff(edges), frame.full.shape[0] - edges[-1])[:, None]

    def mean(light: Light | None) -> Light | None:
        if light is None:
            return None
        sums = np.add.reduceat(light, edges, axis=0) / size.astype(np.float32)
        return np.asarray(sums.mean(axis=1), np.float32)

    full = mean(frame.full)
    assert full is not None
    return Shown(frame.change_s, full, mean(frame.rising), mean(frame.falling))


def _remains(elapsed_ms: float, tau_ms: float) -> np.float32:
    """Return what is left of a difference after a time."""
    return np.float32(np.exp(-elapsed_ms / tau_ms) if tau_ms > 0.0 else 0.0)
