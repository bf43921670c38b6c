"""Answers that move the view: how far the picture has slid, band by band.

A view that turns shows something else each time, but it turns alike: the same way in
the same time, whatever is seen. How far each band of rows has slid since the look before
the press is then the course of the answer. It comes from the gradient method: a small
shift is linear in the look's own gradients, light that rises or falls as a whole is
fitted beside it, and the edges are softened so that "small" is more than a cell.

References
----------
B. D. Lucas and T. Kanade, "An iterative image registration technique with an
application to stereo vision", IJCAI 1981, 674-679.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from blinkspan.onsets.alignment import Course, Template, interpolated
from blinkspan.onsets.idle import Idle
from blinkspan.onsets.look import Frame, Light, Look, Pictures, light_of, steadied
from blinkspan.onsets.pattern import (
    FEATURES,
    Change,
    Features,
    Pattern,
    clear_of_noise,
    difference,
    strong_cells,
)
from blinkspan.traces.reduction import Film
from blinkspan.traces.trace import Samples

_SIDEWAYS, _DOWN = 2, 3  # where a course keeps them
_SOFT_CELLS = 2.0
_ROUNDS, _STRANGE = 3, 2.0  # times the usual misfit of a cell: such a cell counts a quarter
_LEAST_SD_CELLS = 0.003  # rounding alone moves a picture of some hundred cells by so much
_FEWEST_ROWS = 3  # a band of fewer tells no shift from light that changes
_CLEAR_OF_REST = 5.0  # idle standard deviations
_NEAR_CELLS = 1.5  # beyond it, a slide is read the shorter the less is left of the look before
_UNDER_WAY = 0.25  # of the farthest slide within the search


@dataclass(frozen=True, slots=True)
class Moving:
    """What turns pictures into slides.

    Attributes
    ----------
    bands : tuple of (first row, stop row)
    idle_sd : ndarray, shape (bands, 2)
        How much each band slides by itself, sideways and down, in cells.
    reach : int
        Over how many frames after a look it is seen which cells move along.
    """

    bands: tuple[tuple[int, int], ...]
    idle_sd: Samples
    reach: int


def learn_moving(film: Film, idle: Idle, bands: tuple[tuple[int, int], ...]) -> Moving | None:
    """Return what turns pictures into slides, or None where the bands are too low to tell any."""
    if min(stop - first for first, stop in bands) < _FEWEST_ROWS or film.shape[2] < _FEWEST_ROWS:
        return None
    reach = idle.moments.reach
    slides = [
        _slides(film, moment, moment + reach, look, bands, reach)
        for moment, look in zip(idle.moments.frames, idle.looks, strict=True)
    ]
    sd = np.sqrt(np.mean(np.concatenate(slides) ** 2, axis=0))
    return Moving(bands, np.maximum(sd, _LEAST_SD_CELLS), reach)


def moving_course(
    film: Film, start_s: Samples, stretch: tuple[Frame, Frame], before: Look, moving: Moving
) -> Course:
    """Return how far a stretch of film has slid from the look before, in idle deviations."""
    first, stop = max(0, stretch[0]), min(start_s.size, stretch[1])
    values: Features = np.zeros((stop - first, len(moving.bands), FEATURES))
    slides = _slides(film, first, stop, before, moving.bands, moving.reach) / moving.idle_sd
    values[..., _SIDEWAYS], values[..., _DOWN] = slides[..., 0], slides[..., 1]
    return Course(start_s[first:stop], values)


def as_one(course: Course, moving: Moving) -> Course:
    """Return how far all bands together have slid, as far as slides are read well.

    Each band reads a slide longer or shorter by what is seen in it, and some of it as one
    across; their mean does so far less. Farther slides count as just so far.
    """
    most = _NEAR_CELLS / moving.idle_sd
    slides = np.clip(course.values[..., _SIDEWAYS : _DOWN + 1], -most, most)
    values: Features = np.zeros((course.start_s.size, 1, FEATURES))
    values[..., 0, _SIDEWAYS : _DOWN + 1] = slides.mean(axis=1)
    return Course(course.start_s, values)


def slid_cells(mean: Template, moving: Moving, after_s: float) -> float:
    """Return how many cells a mean course has slid so long after its zero."""
    look = interpolated(mean, np.array([after_s]))[0, :, _SIDEWAYS : _DOWN + 1]
    return float(np.linalg.norm((look * moving.idle_sd).mean(axis=0)))


def under_way(course: Course, from_s: float, until_s: float) -> float | None:
    """Return when a course has first left its rest for good within a stretch of time, or None.

    That is not when it sets out, which a scene that sways hides, but equally late after every
    press, since views turn alike.
    """
    inside = (course.start_s >= from_s) & (course.start_s <= until_s)
    far = np.sqrt((course.values**2).sum(axis=(1, 2)) / course.values.shape[1])
    rest = far[(course.start_s < from_s) & (course.start_s > from_s - 0.05)]
    if not inside.any() or rest.size == 0:
        return None
    over = far - float(np.median(rest))
    least = max(_CLEAR_OF_REST, _UNDER_WAY * float(over[inside].max()))
    above = inside & (over > least)
    firm = np.flatnonzero(above[:-1] & above[1:])
    return float(course.start_s[firm[0]]) if firm.size else None


def moving_pattern(
    pattern: Pattern,
    moving: Moving,
    row_px: Samples,
    changes: Sequence[Change],
    idle: Idle,
    film: Film,
) -> Pattern:
    """Return the pattern of a view that moves: all rows of every band, no look in common."""
    middles = np.array([float(row_px[a:b].mean()) for a, b in moving.bands])
    spread = np.array([float(row_px[a:b].std()) for a, b in moving.bands])
    light = []
    for change in changes:
        look = strong_cells(
            clear_of_noise(difference(film, change.before, change.first, idle)), idle
        )
        if look.any():
            light.append(float(np.abs(look * idle.sd)[look != 0].mean()))
    return replace(
        pattern,
        row_px=middles,
        row_spread_px=spread,
        first_light=float(np.median(light)) if light else pattern.first_light,
    )


def _slides(
    film: Film,
    first: Frame,
    stop: Frame,
    before: Look,
    bands: tuple[tuple[int, int], ...],
    reach: int,
) -> Samples:
    """Return how far each band has slid, sideways and down, in cells; (frames, bands, 2)."""
    stop = min(stop, film.shape[0])
    pictures = steadied(light_of(film, first, stop), first - before.frame, before.motion)
    carried = before.motion is not None  # what is carried along is softened with it
    seen: Light = before.light if carried else _softened(before.light)
    change = np.stack(
        [(each if carried else _softened(each)).ravel() - seen.ravel() for each in pictures]
    ).astype(np.float64)
    down, sideways = np.gradient(seen)
    base = np.stack([-sideways, -down, seen, np.ones_like(seen)]).reshape(4, -1).astype(np.float64)
    after = before.frame - first
    weight = _going_along(base, change[max(0, after) : max(after + reach, 1)])
    width = seen.shape[1]
    out = np.empty((stop - first, len(bands), 2))
    for k, (a, b) in enumerate(bands):
        part = slice(a * width, b * width)
        weighed = base[:, part] * weight[part]
        solver = (np.linalg.pinv(weighed @ base[:, part].T) @ weighed)[:2]
        out[:, k] = change[:, part] @ solver.T
    return out


def _going_along(base: Samples, change: Samples) -> Samples:
    """Return how much each cell counts: a figure that stays while the view turns hardly does."""
    weight = np.ones(base.shape[1])
    for _ in range(_ROUNDS):
        weighed = base * weight
        found = change @ weighed.T @ np.linalg.pinv(weighed @ base.T)
        misfit = np.sqrt(((change - found @ base) ** 2).mean(axis=0))
        usual = max(float(np.median(misfit)), 1e-9)
        weight = 1 / (1 + (misfit / (_STRANGE * usual)) ** 2) ** 2
    return weight


def _softened(picture: Pictures) -> Light:
    soft = cv2.GaussianBlur(picture, (0, 0), _SOFT_CELLS, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(soft, np.float32)
