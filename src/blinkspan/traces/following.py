"""How each cell of a take's small film follows the presses.

How lively each cell is shortly after the presses is held against how lively it
is when nothing was pressed, and just before each press, when no answer can have
come yet. Liveliness is change within a short time, so that neither the answer's
return to rest nor a slow drift of the scene counts for much.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from blinkspan.traces.regions import Quadrilateral, Rectangle
from blinkspan.traces.survey import Survey

_EARLIEST_S = 0.020  # after a press: nothing answers sooner (common practice)
_WINDOW_S = 0.140  # liveliness is a mean over this; an answer shows in the first two
_STEP_S = 0.033  # change is taken over this: a game frame at 30 frames a second
_GUARDS_S = (1.2, 0.9, 0.6, 0.4)  # how long after a press nothing is idle: first that fits
_FEWEST_IDLE = 12
_MOST_MOMENTS = 100
_LEAST_LIVELY = 0.15  # 8-bit codes: rounding and the encoder
CLEAR = 5.0  # standard deviations of chance; a few thousand cells stay below (Gaussian tail)
# Of the moments that count, for what happens after most presses and for what happens after some
# like never without: that is so many times livelier (films behind a game: up to 8; the items of
# a menu: 11 and more).
_CALM, _LIVELY, _UNLIKE = 0.75, 1 / 3, 8.5
_GLOW = 0.12  # of the picture's height: no lamp's glow reaches farther

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
    always : ndarray of bool, shape (rows, columns)
        Whether it does so after most presses, or after some like it never does by itself: a
        scene that happens to be lively after a few presses does neither.
    """

    extra: Grid
    clear: Grid
    always: npt.NDArray[np.bool_]

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
        return Following(np.zeros(shape), np.zeros(shape), np.zeros(shape, np.bool_))
    idle = _idle(survey, onsets, step, window)
    unasked = np.stack([_liveliness(survey, f, window, step) for f in idle])
    early, late = (
        np.stack([_liveliness(survey, f + first + k * window, window, step) for f in pressed])
        for k in (0, 1)
    )
    asked = np.where(early.mean(axis=0) >= late.mean(axis=0), early, late)
    # were there no answer, a press would be a moment like any other: its spread is the idle one
    spread = unasked.var(axis=0) + _LEAST_LIVELY**2

    def clearness(extra: Grid, share: float) -> Grid:
        count = 1 / _kept(len(pressed), share) + 1 / _kept(len(idle), share)
        return np.asarray(extra / np.sqrt(spread * count), np.float64)

    extra = asked.mean(axis=0) - unasked.mean(axis=0)
    calm = clearness(_calmest(asked, _CALM) - _calmest(unasked, _CALM), _CALM)
    unlike = _liveliest(asked, _LIVELY) > _UNLIKE * (_liveliest(unasked, _LIVELY) + _LEAST_LIVELY)
    seen = _seen(survey, lamp, panel)
    clear = clearness(extra, 1.0)
    return Following(
        np.where(seen, extra, 0.0), np.where(seen, clear, 0.0), (calm > CLEAR) | unlike
    )


def _calmest(liveliness: Grid, share: float) -> Grid:
    """Return each cell's mean over that share of the moments in which it strays least."""
    kept = np.sort(liveliness, axis=0)[: _kept(liveliness.shape[0], share)]
    return np.asarray(kept.mean(axis=0), np.float64)


def _liveliest(liveliness: Grid, share: float) -> Grid:
    """Return each cell's mean over that share of the moments in which it strays most."""
    kept = np.sort(liveliness, axis=0)[-_kept(liveliness.shape[0], share) :]
    return np.asarray(kept.mean(axis=0), np.float64)


def _kept(moments: int, share: float) -> int:
    return math.ceil(share * moments)


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
    seen[survey.cell_box(glow_of(survey, lamp))] = 0
    return seen > 0


def glow_of(survey: Survey, lamp: Rectangle) -> Rectangle:
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
