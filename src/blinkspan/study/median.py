"""The median of a sample with an interval that holds under ties.

References
----------
T. P. Hettmansperger and S. J. Sheather, "Confidence intervals based on
interpolated order statistics", Statistics & Probability Letters 4 (1986) 75-79.
R. S. Woodruff, "Confidence intervals for medians and other position measures",
JASA 47 (1952) 635-646: an interval for the distribution function, carried over
to the quantile.
"""

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, ndtri, stdtrit

from blinkspan.quantities import Estimate
from blinkspan.study.smoothing import REACH, Numbers, checked, part_below, spread

# The share of a press below the median varies by 1/4 (yes or no) where the
# measurement is sharp. Where measurement noise is all there is, noise uniform on
# ± √6 u / √2 spread over ± √6 u, it varies by 1/24.
_SHARP_VARIANCE = 1.0 / 4.0
_LEAST_VARIANCE = 1.0 / 24.0
# Narrowing at which Student's factor is applied whole; it is not at all without
# narrowing, as the sign test knows its own variance. Tuned on the simulations of
# benchmarks/statistics.py.
_FULLY_ESTIMATED = 0.3


def median_interval(
    values: npt.ArrayLike, u: npt.ArrayLike, shared_u: float = 0.0, level: float = 0.95
) -> Estimate:
    """Return the sample's median with an interval for the median of all such presses.

    Parameters
    ----------
    values : array, shape (n,), n >= 1
        Independent draws; any unit.
    u : array, shape (n,), or a single number
        Standard uncertainty of each value, independent of the others'. It is
        already part of the values' spread, so it serves to smooth ties and as a
        floor: no interval is narrower than u/√n allows.
    shared_u : float
        Standard uncertainty that all values share. It does not shrink with n.
    level : float
        Wanted confidence; below 6 values (at 0.95) even the whole range holds
        less, and the returned ``level`` says how much: 0 for a single value.

    Returns
    -------
    Estimate
        ``value`` is the ordinary median, or the smoothed one where ties are so
        coarse that the ordinary median lies outside the interval.

    Raises
    ------
    BadSample
        No value, a value or uncertainty that is not finite, a negative uncertainty.

    Notes
    -----
    Without uncertainties: the sign test turned into an interval, its ends
    interpolated between order statistics. With them the share of each value
    below a point is a number from 0 to 1, less variable than a yes or no, and
    the interval narrows in proportion. Noise and smoothing shift the median of a
    lopsided distribution by up to about 3 u² f'/(2 f): half a millisecond for whole
    frames counted at 240 Hz and an exponential tail of 8 ms. The interval reaches
    further by as much as a second smoothing shows of it, on the side where the
    unsmoothed median lies.

    Examples
    --------
    >>> got = median_interval(np.arange(1.0, 21.0), 0.0)
    >>> f"{got.value} ({got.low:.2f} to {got.high:.2f})"
    '10.5 (6.24 to 14.76)'
    """
    x, s = checked(values, u)
    n = x.size
    smooth = spread(x, REACH * s)
    middle = float(smooth.quantiles(0.5))
    part = part_below(middle - x, REACH * s)
    cdf_reach, reached = sign_test_reach(n, level)
    cdf_reach *= _narrowing(part, level)
    low, high = smooth.quantiles([0.5 - cdf_reach, 0.5 + cdf_reach]).tolist()
    z = float(ndtri(0.5 + level / 2.0))
    floor = z * math.sqrt(float(np.mean(s**2)) / n)
    low = middle - math.hypot(max(middle - low, floor), z * shared_u)
    high = middle + math.hypot(max(high - middle, floor), z * shared_u)
    shift = _shift_by_noise(x, s, middle)
    low, high = low - max(shift, 0.0), high - min(shift, 0.0)
    median = float(np.median(x))
    return Estimate(
        value=median if low <= median <= high else middle,
        low=low,
        high=high,
        level=reached,
        method="interpolated sign test on smoothed presses",
    )


@lru_cache(maxsize=4096)
def sign_test_reach(n: int, level: float) -> tuple[float, float]:
    """Return how far from 1/2 the interval reaches, as a share of n values, and its level.

    The weight between two order statistics is Hettmansperger and Sheather's.
    """
    ranks = np.arange(1, n // 2 + 1)
    holds = 1.0 - 2.0 * bdtr(ranks - 1, n, 0.5)  # between the k-th from either end
    if ranks.size == 0 or holds[0] < level:
        return 0.5 - 0.5 / n, float(holds[0]) if ranks.size else 0.0
    k = int(np.count_nonzero(holds >= level))
    outer = float(holds[k - 1])
    inner = float(holds[k]) if k < ranks.size else 0.0
    excess = (outer - level) / (outer - inner)
    weight = (n - k) * excess / (k + (n - 2 * k) * excess)
    return 0.5 - (k - 0.5 + weight) / n, level


def _shift_by_noise(x: Numbers, s: Numbers, middle: float) -> float:
    """Return by how much noise and smoothing have moved the median, at most one uncertainty.

    Measurement adds a variance of u², smoothing 2 u², and smoothing √2 as wide
    another 2 u²: to second order the first two together move the median by 3/2
    of what the last does.
    """
    noise = math.sqrt(float(np.mean(s**2)))
    if noise == 0.0:
        return 0.0
    moved = float(spread(x, math.sqrt(2.0) * REACH * s).quantiles(0.5)) - middle
    return min(max(1.5 * moved, -noise), noise)


def _narrowing(part: npt.NDArray[np.float64], level: float) -> float:
    """Spread of the presses' parts below the median against that of a yes or no."""
    n = part.size
    if n < 2:
        return 1.0
    seen = float(((part - 0.5) ** 2).sum()) / (n - 1)
    ratio = math.sqrt(min(max(seen, _LEAST_VARIANCE), _SHARP_VARIANCE) / _SHARP_VARIANCE)
    student = float(stdtrit(n - 1, 0.5 + level / 2.0) / ndtri(0.5 + level / 2.0))
    estimated = min(1.0, (1.0 - ratio) / _FULLY_ESTIMATED)
    return min(1.0, ratio * (1.0 + (student - 1.0) * estimated))
