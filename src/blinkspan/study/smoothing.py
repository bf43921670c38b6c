"""Tied numbers spread over what is not known of them, so that quantiles move smoothly.

Whole camera frames tie, and order statistics of tied numbers jump from one tie
to the next. A span counted in whole frames of length T has a triangular error on
± T, standard uncertainty u = T/√6. Spreading each number evenly over ± √6 u
fills the steps without a ripple (the widths of neighbours add to a constant)
and leaves the median of two neighbouring ties at their mean, where it belongs.
A number with a smaller uncertainty is spread less, one without is left alone.

References
----------
JCGM 100:2008 (GUM), 4.3.9: the triangular distribution.
R. J. Hyndman and Y. Fan, "Sample quantiles in statistical packages", The American
Statistician 50 (1996) 361-365: plotting positions (k - 1/2) / n, their type 5.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadSample

Numbers = npt.NDArray[np.float64]

REACH = math.sqrt(6.0)  # half-width of the spread, in standard uncertainties
# A number without uncertainty among others with some: so much of the range, that
# its step in the distribution function still has a finite slope.
_NARROWEST = 1e-7
_NEGLIGIBLE = 1e-9  # of the values themselves: nearer to nothing than floats are good for


@dataclass(frozen=True, slots=True)
class Spread:
    """The distribution function of n numbers, each spread evenly about itself.

    Attributes
    ----------
    at, share : array
        Knots, ascending, and the share of the whole at or below each; linear between.
    n : int
        How many numbers there are.
    """

    at: Numbers
    share: Numbers
    n: int

    def share_below(self, point: float) -> float:
        """Return the share of the whole below a point."""
        return float(np.interp(point, self.at, self.share))

    def quantiles(self, probabilities: npt.ArrayLike) -> Numbers:
        """Return quantiles, linear between the plotting positions (k - 1/2) / n.

        Without uncertainty this is type 5 of Hyndman and Fan. Beyond the outermost
        plotting positions the outermost quantile serves.
        """
        place = np.clip(np.asarray(probabilities, dtype=float) * self.n + 0.5, 1.0, self.n)
        below = np.floor(place)
        weight = place - below
        lower = np.interp((below - 0.5) / self.n, self.share, self.at)
        upper = np.interp((np.minimum(below + 1.0, self.n) - 0.5) / self.n, self.share, self.at)
        blended: Numbers = (1.0 - weight) * lower + weight * upper
        return blended


def spread(values: Numbers, half_widths: Numbers) -> Spread:
    """Return the distribution function of values spread evenly over ± their half-widths.

    Parameters
    ----------
    values, half_widths : array, shape (n,)
        Finite; half-widths at or above zero.

    Notes
    -----
    Exact; cost O(n log n).
    """
    if half_widths.min() == half_widths.max():
        x, h = np.sort(values), half_widths
    else:
        order = np.argsort(values, kind="stable")
        x, h = values[order], half_widths[order]
    n = x.size
    negligible = _NEGLIGIBLE * float(np.abs(x).max())
    if h.max() <= negligible:  # steps: the function passes (k - 1/2) / n at the k-th value
        return Spread(x, (np.arange(n) + 0.5) / n, n)
    h = np.maximum(h, max(negligible, _NARROWEST * max(float(x[-1] - x[0]), float(h.max()))))
    slope = 0.5 / (n * h)
    knots = np.concatenate([x - h, x + h])
    turns = np.concatenate([slope, -slope])
    order = np.argsort(knots, kind="stable")
    knots = knots[order]
    rising = np.cumsum(turns[order])[:-1]
    share = np.concatenate([[0.0], np.cumsum(rising * np.diff(knots))])
    return Spread(knots, share, n)


def part_below(distances: Numbers, half_widths: Numbers | float) -> Numbers:
    """Return how much of each spread number lies below a point ``distances`` above it.

    A number without width counts 0, 1/2 where it is the point itself, or 1.
    """
    h = np.asarray(half_widths, dtype=float)
    sharp = h <= _NEGLIGIBLE * np.abs(distances)  # dividing by less might overflow
    part: Numbers = np.clip(0.5 + 0.5 * distances / np.where(sharp, 1.0, h), 0.0, 1.0)
    if sharp.any():
        part = np.where(sharp, 0.5 * (1.0 + np.sign(distances)), part)
    return part


def checked(values: npt.ArrayLike, u: npt.ArrayLike) -> tuple[Numbers, Numbers]:
    """Return values and their standard uncertainties as arrays of one length, or refuse.

    Raises
    ------
    BadSample
        No value, a value or uncertainty that is not finite, a negative
        uncertainty, or lengths that differ.
    """
    x = np.asarray(values, dtype=float).ravel()
    s = np.asarray(u, dtype=float)
    if x.size == 0:
        raise BadSample("there is no value to work on; give at least one press")
    if s.ndim and s.size != x.size:
        raise BadSample(f"{x.size} values come with {s.size} uncertainties; give one for each")
    s = np.broadcast_to(s.ravel(), x.shape)
    if not (np.isfinite(x).all() and np.isfinite(s).all()):
        raise BadSample("a value or its uncertainty is not finite; leave that press out")
    if (s < 0).any():
        raise BadSample(f"an uncertainty of {s.min():g} is negative; give zero or more")
    return x, s
