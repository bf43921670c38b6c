"""How far a sample is from having one mode: Hartigan's dip.

The dip is the largest distance between the sample's distribution function and the
nearest one with a single mode. Presses that wait for the next game tick are spread
evenly over a frame: the uniform distribution, which is also the hardest single
mode to tell from two, is therefore the fair one to hold the dip against.

References
----------
J. A. Hartigan and P. M. Hartigan, "The dip test of unimodality", Annals of
Statistics 13 (1985) 70-84.
P. M. Hartigan, "Computation of the dip statistic", Applied Statistics 34 (1985) 320-325.
"""

import math

import numpy as np
import numpy.typing as npt

from blinkspan.study.smoothing import Numbers, checked

# Chance of a larger √n dip in uniform samples of n: from 20,000 samples a size up to
# 100, 8,000 at 200 and 4,000 at 500, by ``dip`` itself with seed 1985.
_CHANCES = (0.5, 0.1, 0.05, 0.01, 0.001)
_SCALED_DIPS = {
    8: (0.3143, 0.403, 0.4357, 0.4902, 0.5451),
    10: (0.3088, 0.4138, 0.4422, 0.5019, 0.5703),
    15: (0.3234, 0.4261, 0.4605, 0.5291, 0.5991),
    20: (0.328, 0.4356, 0.4715, 0.5406, 0.6169),
    30: (0.3369, 0.4459, 0.4834, 0.5504, 0.6436),
    50: (0.3452, 0.459, 0.4982, 0.575, 0.6528),
    100: (0.354, 0.471, 0.5094, 0.5859, 0.6776),
    200: (0.3615, 0.478, 0.5184, 0.6002, 0.693),
    500: (0.3693, 0.4886, 0.5318, 0.6091, 0.7024),
}

_ROUNDING = 1e-9  # of the values themselves
_SIEVINGS = 4  # each halves the points about; more save less than they cost


def dip_p(found: float, n: int) -> float:
    """Return the chance of so large a dip in n values spread evenly.

    Interpolated on the logarithm of the chance; below 0.001 it says 0.001, above
    0.5 it says 1.
    """
    sizes = sorted(_SCALED_DIPS)
    scaled = math.sqrt(n) * found
    row = [
        float(np.interp(n, sizes, [_SCALED_DIPS[size][i] for size in sizes]))
        for i in range(len(_CHANCES))
    ]
    if scaled < row[0]:
        return 1.0
    return float(np.exp(np.interp(scaled, row, np.log(_CHANCES))))


def dip(values: npt.ArrayLike) -> float:
    """Return the dip of a sample, at least 1/(2 n) and below 1/4.

    Parameters
    ----------
    values : array, shape (n,), n >= 1
        Ties are first spread evenly over the smallest step between values: a dip
        of ties as they stand would tell the grid's steps for modes.

    Raises
    ------
    BadSample
        No value, or one that is not finite.

    Notes
    -----
    Hartigan's algorithm: the convex minorant and the concave majorant of the
    distribution function are drawn over an interval that closes in on the mode
    until nothing between them is larger than the dip outside.

    Examples
    --------
    >>> dip([0.0, 0.1, 9.9, 10.0])
    0.24...
    """
    x = spread_ties(checked(values, 0.0)[0])
    n = x.size
    upper = np.arange(1, n + 1) / n  # the distribution function at each value ...
    lower = upper - 1.0 / n  # ... and just before it
    left, right = 0, n - 1
    largest = 1.0 / n
    while True:
        minorant = _corners(x, lower, left, right, side=1.0)
        majorant = _corners(x, upper, left, right, side=-1.0)
        below = np.interp(x, x[minorant], lower[minorant])
        above = np.interp(x, x[majorant], upper[majorant])
        gap = (above - below)[left : right + 1]
        widest = int(gap.argmax()) + left
        if above[widest] - below[widest] <= largest:
            return 0.5 * largest
        new_left = int(minorant[minorant <= widest].max())
        new_right = int(majorant[majorant >= widest].min())
        largest = max(
            largest,
            float((upper - below)[left : new_left + 1].max()),
            float((above - lower)[new_right : right + 1].max()),
        )
        if (new_left, new_right) == (left, right):
            return 0.5 * largest
        left, right = new_left, new_right


def spread_ties(values: Numbers) -> Numbers:
    """Return the values in ascending order, ties spread evenly over the smallest step.

    Where all are equal, there is no step and they are spread over one unit.
    """
    distinct, which = np.unique(values, return_inverse=True)
    # What differs by rounding alone ties: its step would tell the grid's steps for modes.
    apart = np.diff(distinct) > _ROUNDING * float(np.abs(distinct).max())
    heap = np.concatenate([[0], np.cumsum(apart)])
    distinct = distinct[np.concatenate([[True], apart])]
    numbers = np.bincount(heap[which])
    step = float(np.diff(distinct).min()) if distinct.size > 1 else 1.0
    rank = np.arange(values.size) - np.repeat(np.cumsum(numbers) - numbers, numbers)
    share = (rank + 0.5) / np.repeat(numbers, numbers) - 0.5
    spread: Numbers = np.repeat(distinct, numbers) + step * share
    return spread


def _corners(
    at: Numbers, share: Numbers, left: int, right: int, *, side: float
) -> npt.NDArray[np.intp]:
    """Find the corners of the convex minorant (side 1) or concave majorant (side -1)."""
    near = _not_above_neighbours(at, side * share, left, right)
    x, y = at[near].tolist(), (side * share[near]).tolist()
    corners = [0]
    slopes = [-math.inf]  # into each corner, rising
    for i in range(1, near.size):
        slope = (y[i] - y[corners[-1]]) / (x[i] - x[corners[-1]])
        while slope <= slopes[-1]:
            corners.pop()
            slopes.pop()
            slope = (y[i] - y[corners[-1]]) / (x[i] - x[corners[-1]])
        corners.append(i)
        slopes.append(slope)
    return near[corners]


def _not_above_neighbours(
    at: Numbers, share: Numbers, left: int, right: int
) -> npt.NDArray[np.intp]:
    """Leave out, a few times over, points on or above the line between their neighbours.

    None of them is a corner of the minorant; the plain loop over what is left is then short.
    """
    near = np.arange(left, right + 1)
    for _ in range(_SIEVINGS):
        slope = np.diff(share[near]) / np.diff(at[near])
        kept = np.ones(near.size, dtype=bool)
        kept[1:-1] = slope[:-1] < slope[1:]
        near = near[kept]
    return near
