"""Which four edges are the panel's."""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from blinkspan.traces.panel_sides import EdgeSums, Line, best_lines, inward_edges
from blinkspan.traces.reduction import shrink_factor, shrunk
from blinkspan.traces.survey import Survey
from blinkspan.traces.trace import Samples

_SEARCH_PIXELS = 320 * 180
_LEAST_SIDE = 0.45  # share of full contrast along the weakest side
_LEAST_SCORE = 0.45
_NEAR = 0.1  # of a side's length: its ends
_BEYOND = 0.2  # of a side's length past each corner: a panel's edge ends there
_SMALLEST = 0.04  # of the picture
_PROPORTIONS = (0.9, 3.2)  # width to height: 4:3 seen from the side, to a very wide panel
_ERROR_PX = (
    2.0  # of the pictures searched: the step from one slope to the next, and the edge's width
)
_LIVELY_SAMPLES = 400
_LIVELY = (2.0, 10.0)  # codes of change over the take: from where a cell counts, and in full

Corners = npt.NDArray[np.float64]  # shape (4, 2), x and y from top left clockwise


@dataclass(frozen=True, slots=True)
class Outline:
    """Four corners in pixels of the take, how far off they may be, and how sure they are.

    ``score`` is 1 where every place along the sides agrees.
    """

    corners: Corners
    error_px: float
    score: float


def panel_outline(survey: Survey) -> Outline | None:
    """Return the likeliest panel, or None where no four edges are clearly one."""
    height, width = survey.mean.shape
    factor = shrink_factor(width, height, _SEARCH_PIXELS)
    pictures = (shrunk(survey.mean, factor), shrunk(survey.most, factor))
    turned = (pictures[0].T, pictures[1].T)
    sides = [
        inward_edges(pictures, 1),
        inward_edges(pictures, -1),
        inward_edges(turned, 1),
        inward_edges(turned, -1),
    ]
    lines = [best_lines(edges) for edges in sides]
    if not all(lines):
        return None
    return _best_outline(survey, sides, lines, factor * survey.still_factor)


def _best_outline(
    survey: Survey, sides: list[EdgeSums], lines: list[list[Line]], factor: int
) -> Outline | None:
    """Return the best of all combinations of a left, right, upper and lower edge."""
    count = [len(each) for each in lines]
    pick = np.stack(np.meshgrid(*[np.arange(k) for k in count], indexing="ij"), -1).reshape(-1, 4)
    slope_index = [
        np.array([line.slope for line in each])[pick[:, k]] for k, each in enumerate(lines)
    ]
    passes = [np.array([line.x for line in each])[pick[:, k]] for k, each in enumerate(lines)]
    width, height = sides[2].length, sides[0].length
    slopes = [sides[k].slopes[slope_index[k]] for k in range(4)]

    def corner(upright: int, level: int) -> Samples:
        a, b = slopes[upright], slopes[level]
        x0, y0 = passes[upright] - a * height / 2, passes[level] - b * width / 2
        x = (x0 + a * y0) / (1 - a * b)
        return np.stack([x, y0 + b * x], axis=-1)

    corners = np.stack([corner(0, 2), corner(1, 2), corner(1, 3), corner(0, 3)], axis=1)
    ends = [(0, 3, 1), (1, 2, 1), (0, 1, 0), (3, 2, 0)]  # corners of each side, and its axis
    support = np.stack(
        [
            _support(sides[k], slope_index[k], passes[k], corners[:, a, axis], corners[:, b, axis])
            for k, (a, b, axis) in enumerate(ends)
        ],
        axis=1,
    )
    score = (support.mean(axis=1) + support.min(axis=1)) / 2
    score[~_plausible(corners, width, height)] = 0.0
    score[support.min(axis=1) < _LEAST_SIDE] = 0.0
    lively = _lively(survey)
    best: Outline | None = None
    for k in np.argsort(-score)[:200]:
        if score[k] < _LEAST_SCORE:
            break
        outline = corners[k] * factor
        share = _share_inside(lively, outline / survey.factor)
        sure = float(score[k]) * (1 + share) / 2
        if best is None or sure > best.score:
            best = Outline(outline, _ERROR_PX * factor, sure)
    return best


def _support(
    edges: EdgeSums,
    slope: npt.NDArray[np.intp],
    x: npt.NDArray[np.intp],
    begin: Samples,
    end: Samples,
) -> Samples:
    """Return the mean contrast from one corner to the other.

    The ends count as much as all between, since two edges meet at a true
    corner; what goes on past a corner counts against the side.
    """
    begin, end = np.minimum(begin, end), np.maximum(begin, end)
    near, past = _NEAR * (end - begin), _BEYOND * (end - begin)
    ends = (
        _mean(edges, slope, x, begin, begin + near) + _mean(edges, slope, x, end - near, end)
    ) / 2
    outer = (
        _mean(edges, slope, x, begin - past, begin - 2)
        + _mean(edges, slope, x, end + 2, end + past)
    ) / 2
    support: Samples = (_mean(edges, slope, x, begin, end) + ends) / 2 - 0.25 * np.maximum(
        outer, 0.0
    )
    return support


def _mean(
    edges: EdgeSums,
    slope: npt.NDArray[np.intp],
    x: npt.NDArray[np.intp],
    begin: Samples,
    end: Samples,
) -> Samples:
    a = np.clip(np.rint(begin), 0, edges.length).astype(np.intp)
    b = np.clip(np.rint(end), 0, edges.length).astype(np.intp)
    x = np.clip(x, 0, edges.sums.shape[2] - 1)
    total = edges.sums[slope, b, x] - edges.sums[slope, a, x]
    mean: Samples = total / np.maximum(b - a, 1)
    return mean


def _plausible(corners: Corners, width: int, height: int) -> npt.NDArray[np.bool_]:
    """Whether four corners stand as a panel's do and lie in the picture."""
    across = (corners[:, 1, 0] + corners[:, 2, 0] - corners[:, 0, 0] - corners[:, 3, 0]) / 2
    down = (corners[:, 3, 1] + corners[:, 2, 1] - corners[:, 0, 1] - corners[:, 1, 1]) / 2
    inside = (corners >= -1).all(axis=(1, 2)) & (corners <= (width + 1, height + 1)).all(
        axis=(1, 2)
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        proportion = across / down
    fits: npt.NDArray[np.bool_] = (
        inside
        & (across > 0)
        & (down > 0)
        & (proportion >= _PROPORTIONS[0])
        & (proportion <= _PROPORTIONS[1])
        & (across * down >= _SMALLEST * width * height)
    )
    return fits


def _lively(survey: Survey) -> npt.NDArray[np.float64]:
    """Return how much each cell changes over the take by itself, not with the room's light."""
    every = -(-survey.film.shape[0] // _LIVELY_SAMPLES)
    film = np.stack(
        [frame.astype(np.int16) - cv2.medianBlur(frame, 9) for frame in survey.film[::every]]
    )
    least, full = _LIVELY
    spread = np.percentile(film, 98, axis=0) - np.percentile(film, 2, axis=0)
    return np.asarray(np.clip((spread - least) / (full - least), 0.0, 1.0), np.float64)


def _share_inside(lively: npt.NDArray[np.float64], corners: Corners) -> float:
    """Return the share of all change that lies within the outline, 1 where nothing changes.

    Cells that a true outline would cut through count as inside.
    """
    total = float(lively.sum())
    if total == 0:
        return 1.0
    cover = np.zeros(lively.shape, np.uint8)
    outwards = np.sign(corners - corners.mean(axis=0))
    grown = np.rint((corners + outwards - 0.5) * 16).astype(np.int32)
    cv2.fillConvexPoly(cover, grown, 1, shift=4)
    return float(lively[cover > 0].sum()) / total
