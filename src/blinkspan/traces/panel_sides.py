"""Long straight edges that may be a side of the panel: brighter on the inner side.

The mean over a take hides the noise, so that an edge of a single code value
counts, and it counts almost like a strong one: a panel's side is told by its
length and straightness, not by its contrast, which changes along it with what
is shown.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.traces.survey import Codes

_FULL_CONTRAST = 4.0  # 8-bit codes from which an edge counts in full
_STEEPEST = 0.25  # slope against upright or level: 14 degrees of roll and keystone together
_SLOPES = 41
_NEEDED = 0.35  # of full contrast along a segment, on average
_SHORTEST = 0.15  # of the picture's side
_KEPT = 14  # lines a side

Maps = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class EdgeSums:
    """Edge contrast summed along all lines that are upright, give or take a slope.

    Attributes
    ----------
    slopes : ndarray, shape (m,)
        Across over along.
    sums : ndarray of float32, shape (m, length + 1, width)
        ``sums[k, a, x]`` is the sum over the first ``a`` places along the line
        of slope k that passes ``x`` at half the length.
    """

    slopes: npt.NDArray[np.float64]
    sums: Maps

    @property
    def length(self) -> int:
        """Places along a line."""
        return int(self.sums.shape[1]) - 1


@dataclass(frozen=True, slots=True)
class Line:
    """A line of ``EdgeSums``: the index of its slope and where it passes half the length."""

    slope: int
    x: int
    strength: float


def inward_edges(pictures: tuple[Codes, ...], inside: int) -> EdgeSums:
    """Return the contrast of upright edges with the bright side towards ``inside``.

    Parameters
    ----------
    pictures : tuple of ndarray, shape (length, width)
        At each place the picture that shows the edge best counts.
    inside : int
        1 where the panel lies to the right of the edge, -1 to the left.
    """
    contrast = np.max([inside * _steps(picture) for picture in pictures], axis=0)
    edge = np.clip(contrast / _FULL_CONTRAST, -1.0, 1.0)
    length, width = edge.shape
    slopes = np.linspace(-_STEEPEST, _STEEPEST, _SLOPES)
    along = np.arange(length)
    sums = np.zeros((_SLOPES, length + 1, width), np.float32)
    for k, slope in enumerate(slopes):
        shift = np.rint(slope * (along + 0.5 - length / 2)).astype(np.intp)
        source = np.arange(width)[None, :] + shift[:, None]
        seen = np.take_along_axis(edge, np.clip(source, 0, width - 1), axis=1)
        seen[(source < 0) | (source >= width)] = 0.0
        np.cumsum(seen, axis=0, out=sums[k, 1:])
    return EdgeSums(slopes, sums)


def best_lines(edges: EdgeSums) -> list[Line]:
    """Return the lines whose best segment is longest and clearest, each apart from the others."""
    along = np.arange(edges.length + 1, dtype=np.float32)[None, :, None]
    over = edges.sums - _NEEDED * along
    best = (over - np.minimum.accumulate(over, axis=1)).max(axis=1)
    lines: list[Line] = []
    for _ in range(_KEPT):
        slope, x = np.unravel_index(int(np.argmax(best)), best.shape)
        strength = float(best[slope, x])
        if strength < (1 - _NEEDED) * _SHORTEST * edges.length:
            break
        lines.append(Line(int(slope), int(x), strength))
        # Lines that run within three pixels of it over their whole length are the same line.
        across = np.arange(best.shape[1])[None, :]
        lean = (edges.slopes - edges.slopes[slope])[:, None] * edges.length / 2
        apart = np.maximum(np.abs(across - x + lean), np.abs(across - x - lean))
        best[apart <= 4.0] = 0.0
    return lines


def _steps(picture: Codes) -> Codes:
    """Return at each place how much brighter the two pixels from there on are than the two before.

    Index x is the border between pixel x - 1 and pixel x.
    """
    width = picture.shape[1]
    sums = np.concatenate(
        [np.zeros((picture.shape[0], 1), np.float32), picture.cumsum(axis=1)], axis=1
    )
    x = np.arange(width)
    right = sums[:, np.minimum(x + 2, width)] - sums[:, x]
    left = sums[:, x] - sums[:, np.maximum(x - 2, 0)]
    steps: Codes = ((right - left) / 2).astype(np.float32)
    steps[:, :2] = 0.0
    steps[:, -1:] = 0.0
    return steps
