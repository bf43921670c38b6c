"""Where the screen changes after the lamp lights, more than it does by itself.

How lively each cell is shortly after the presses is held against how lively it
is when nothing was pressed, and just before each press, when no answer can have
come yet. Liveliness is change within a short time, so that neither the answer's
return to rest nor a slow drift of the scene counts for much.
"""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scipy.ndimage import label

from blinkspan.traces.regions import Quadrilateral, Rectangle
from blinkspan.traces.survey import Survey
from blinkspan.traces.trace import Samples

_EARLIEST_S = 0.020  # after a press: nothing answers sooner (common practice)
_WINDOW_S = 0.140  # liveliness is a mean over this; an answer shows in the first two
_STEP_S = 0.033  # change is taken over this: a game frame at 30 frames a second
_GUARDS_S = (1.2, 0.9, 0.6, 0.4)  # how long after a press nothing is idle: first that fits
_FEWEST_IDLE = 12
_MOST_MOMENTS = 100
_CLEAR = 5.0  # standard deviations of chance; a few thousand cells stay below (Gaussian tail)
_LEAST_LIVELY = 0.15  # 8-bit codes: rounding and the encoder
_STRONG = 0.15  # of the strongest cells' change: what counts as the answer's place
_FEWEST_CELLS = 3  # that touch
_TRIMMED = 0.02  # share of the answer's change left out at each side
_MARGIN_CELLS = 1
_GLOW = 0.12  # of the picture's height: no lamp's glow reaches farther
_CENTRAL = 0.6  # of the panel's width and height, where no place is clear

Grid = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Following:
    """How each cell of the small film follows the presses.

    Attributes
    ----------
    extra : ndarray, shape (rows, columns)
        How much further it strays after a press than without, in 8-bit codes.
    clear : ndarray, shape (rows, columns)
        The same in standard deviations of chance.
    """

    extra: Grid
    clear: Grid

    def strength(self) -> float:
        """Return one number for the whole: the mean clearness of the clearest cells."""
        return float(np.sort(self.clear, axis=None)[-9:].mean())


def following(
    survey: Survey, onsets: list[int], lamp: Rectangle, panel: Quadrilateral | None
) -> Following:
    """Return how each cell of the panel, or of the picture but for the lamp, follows the presses.

    Parameters
    ----------
    onsets : list of int
        Frames in which the lamp lights; those too near the take's ends are left out.
    """
    n, window = survey.film.shape[0], max(2, survey.frames_in(_WINDOW_S))
    first = max(1, survey.frames_in(_EARLIEST_S))
    step = max(1, survey.frames_in(_STEP_S))
    pressed = _thinned([f for f in onsets if f + first >= step and f + first + 2 * window <= n])
    shape = survey.film.shape[1:]
    if not pressed:
        return Following(np.zeros(shape), np.zeros(shape))
    idle = _idle(survey, onsets, step, window)
    unasked = np.stack([_liveliness(survey, f, window, step) for f in idle])
    usual, spread = unasked.mean(axis=0), unasked.var(axis=0)
    asked = [
        np.mean(
            [_liveliness(survey, f + first + k * window, window, step) for f in pressed], axis=0
        )
        for k in (0, 1)
    ]
    extra = np.maximum(*asked) - usual
    # were there no answer, a press would be a moment like any other: its spread is the idle one
    chance = (spread + _LEAST_LIVELY**2) * (1 / len(pressed) + 1 / len(idle))
    clear = extra / np.sqrt(chance)
    seen = _seen(survey, lamp, panel)
    return Following(np.where(seen, extra, 0.0), np.where(seen, clear, 0.0))


def watched_part(
    survey: Survey, follows: Following, lamp: Rectangle, panel: Quadrilateral | None
) -> Rectangle:
    """Return the box round what follows the presses, or the middle of the panel if nothing does.

    Where no panel keeps them apart, the box leaves out the lamp and its glow: of what lies
    about it, the side with most of the answer is kept.
    """
    clear = follows.clear > _CLEAR
    if clear.any():
        clear &= follows.extra >= _STRONG * np.percentile(follows.extra[clear], 95)
    pieces, count = label(clear, np.ones((3, 3)))
    for piece in range(1, count + 1):
        if (pieces == piece).sum() < _FEWEST_CELLS:
            clear[pieces == piece] = False
    limits = _limits(survey, panel)
    if not clear.any():
        return _middle(limits)
    extra = np.where(clear, follows.extra, 0.0)
    box = _box_of(survey, extra, limits)
    glow = _glow(survey, lamp)
    if panel is not None or not _overlap(box, glow):
        return box
    parts = [part for part in _beside(limits, glow) if extra[survey.cell_box(part)].any()]
    return max(
        (_box_of(survey, _inside(survey, extra, part), part) for part in parts),
        key=lambda kept: float(extra[survey.cell_box(kept)].sum()),
    )


def _box_of(survey: Survey, extra: Grid, limits: Rectangle) -> Rectangle:
    """Return the box round the bulk of a change, within limits."""
    top, bottom = _span(extra.sum(axis=1))
    left, right = _span(extra.sum(axis=0))
    f = survey.factor
    x0, y0 = max(limits.x, left * f), max(limits.y, top * f)
    x1 = min(limits.x + limits.width, right * f)
    y1 = min(limits.y + limits.height, bottom * f)
    return Rectangle(x0, y0, x1 - x0, y1 - y0)


def _inside(survey: Survey, extra: Grid, part: Rectangle) -> Grid:
    kept = np.zeros_like(extra)
    kept[survey.cell_box(part)] = extra[survey.cell_box(part)]
    return kept


def _beside(limits: Rectangle, glow: Rectangle) -> list[Rectangle]:
    """Return what of a box lies left of, right of, above and below another."""
    x1, y1 = limits.x + limits.width, limits.y + limits.height
    right, bottom = glow.x + glow.width, glow.y + glow.height
    parts = [
        Rectangle(limits.x, limits.y, glow.x - limits.x, limits.height),
        Rectangle(right, limits.y, x1 - right, limits.height),
        Rectangle(limits.x, limits.y, limits.width, glow.y - limits.y),
        Rectangle(limits.x, bottom, limits.width, y1 - bottom),
    ]
    return [part for part in parts if part.width > 0 and part.height > 0]


def _overlap(one: Rectangle, other: Rectangle) -> bool:
    return max(one.x, other.x) < min(one.x + one.width, other.x + other.width) and max(
        one.y, other.y
    ) < min(one.y + one.height, other.y + other.height)


def _liveliness(survey: Survey, first: int, window: int, step: int) -> Grid:
    """Return each cell's mean change over a step of time, within a window."""
    part = survey.film[first - step : first + window].astype(np.float32)
    return np.asarray(np.abs(part[step:] - part[:-step]).mean(axis=0), np.float64)


def _idle(survey: Survey, onsets: list[int], step: int, window: int) -> list[int]:
    """Return where windows without an answer begin, spread evenly.

    Where presses follow too closely for any rest, those that end with a press remain.
    """
    n = survey.film.shape[0]
    possible = np.arange(step, n - window + 1)
    ordered = np.sort(np.asarray(onsets))
    turn = np.searchsorted(ordered, possible, side="right")
    since = possible - step - np.concatenate([[-n * 1000], ordered])[turn]
    until = np.concatenate([ordered, [n * 1000]])[turn] - possible
    free = until + max(1, survey.frames_in(_EARLIEST_S)) >= window
    for guard_s in _GUARDS_S:
        moments: list[int] = []
        for frame in possible[free & (since >= survey.frames_in(guard_s))].tolist():
            if not moments or frame - moments[-1] >= window // 2:
                moments.append(frame)
        if len(moments) >= _FEWEST_IDLE:
            return _thinned(moments)
    just_before = [f + max(1, survey.frames_in(_EARLIEST_S)) - window for f in onsets]
    fitting = [f for f in just_before if step <= f <= n - window]
    return _thinned(fitting or possible[::window].tolist())


def _thinned(moments: list[int]) -> list[int]:
    return moments[:: -(-len(moments) // _MOST_MOMENTS)] if moments else moments


def _seen(survey: Survey, lamp: Rectangle, panel: Quadrilateral | None) -> npt.NDArray[np.bool_]:
    """Return which cells may be watched: the panel's, never the lamp's nor its glow."""
    rows, columns = survey.film.shape[1:]
    seen = np.ones((rows, columns), np.uint8)
    if panel is not None:
        seen[:] = 0
        corners = np.array(panel.corners) / survey.factor
        cv2.fillConvexPoly(seen, np.rint((corners - 0.5) * 16).astype(np.int32), 1, shift=4)
    seen[survey.cell_box(_glow(survey, lamp))] = 0
    return seen > 0


def _glow(survey: Survey, lamp: Rectangle) -> Rectangle:
    """Return the cells round the lamp that its light may reach, in pixels of the picture."""
    reach = min(2 * min(lamp.width, lamp.height), round(_GLOW * survey.picture.height_px))
    left, top = max(0, lamp.x - reach), max(0, lamp.y - reach)
    box = Rectangle(
        left, top, lamp.x + lamp.width + reach - left, lamp.y + lamp.height + reach - top
    )
    rows, columns = survey.cell_box(box)
    f = survey.factor
    return Rectangle(
        columns.start * f,
        rows.start * f,
        (columns.stop - columns.start) * f,
        (rows.stop - rows.start) * f,
    )


def _limits(survey: Survey, panel: Quadrilateral | None) -> Rectangle:
    """Return the box that a watched part may not leave."""
    whole = Rectangle(0, 0, survey.picture.width_px, survey.picture.height_px)
    if panel is None:
        return whole
    box = panel.bounding_box()
    x0, y0 = max(0, box.x), max(0, box.y)
    x1, y1 = min(whole.width, box.x + box.width), min(whole.height, box.y + box.height)
    return Rectangle(x0, y0, x1 - x0, y1 - y0)


def _middle(box: Rectangle) -> Rectangle:
    """Return the central part of a box."""
    width, height = max(1, round(_CENTRAL * box.width)), max(1, round(_CENTRAL * box.height))
    return Rectangle(
        box.x + (box.width - width) // 2, box.y + (box.height - height) // 2, width, height
    )


def _span(extra: Samples) -> tuple[int, int]:
    """Return the first and one past the last cell of the bulk of the change, with its margin."""
    share = np.cumsum(extra) / extra.sum()
    first = int(np.searchsorted(share, _TRIMMED, side="right"))
    last = int(np.searchsorted(share, 1 - _TRIMMED))
    return first - _MARGIN_CELLS, min(last, extra.size - 1) + 1 + _MARGIN_CELLS
