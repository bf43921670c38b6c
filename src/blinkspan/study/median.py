"""The median of a sample whose numbers are tied, each known only within its own uncertainty.

Frame counts tie, and order statistics of tied numbers jump from one tie to the
next. Here every number is spread over its own standard uncertainty, so that the
distribution function rises smoothly and the quantiles move smoothly with the
data; without uncertainty the ordinary order statistics come back.

References
----------
T. P. Hettmansperger and S. J. Sheather, "Confidence intervals based on
interpolated order statistics", Statistics & Probability Letters 4 (1986) 75-79.
R. S. Woodruff, "Confidence intervals for medians and other position measures",
JASA 47 (1952) 635-646: an interval for the distribution function, carried over
to the quantile.
R. J. Hyndman and Y. Fan, "Sample quantiles in statistical packages", The American
Statistician 50 (1996) 361-365: plotting positions (k - 1/2) / n, their type 5.
"""

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri
from scipy.stats import binom

from blinkspan.errors import BadSample
from blinkspan.quantities import Estimate

Numbers = npt.NDArray[np.float64]

_NARROWEST = 1e-9  # of the range: keeps a step of the distribution function solvable
_MOST_STEPS = 200
# Variance of a press's share below the median when measurement noise is all there
# is: the share is then uniform on 0..1. It is 1/4 where the noise is nothing.
_NOISE_ONLY_VARIANCE = 1.0 / 12.0


def median_interval(
    values: Numbers, u: Numbers, shared_u: float = 0.0, level: float = 0.95
) -> Estimate:
    """Return the sample's median with an interval that survives ties and carries what is not known.

    Parameters
    ----------
    values : array, shape (n,), n >= 1
        Independent draws; any unit.
    u : array, shape (n,), or a single number
        Standard uncertainty of each value, independent of the others'. It is
        already part of the values' spread and therefore serves only to smooth
        ties and as a floor of the width.
    shared_u : float
        Standard uncertainty that all values share. It does not shrink with n.
    level : float
        Wanted confidence; below 6 values the whole range holds less, and the
        returned ``level`` then says how much (0 for a single value).

    Returns
    -------
    Estimate

    Raises
    ------
    BadSample
        No value, a value or uncertainty that is not finite, a negative uncertainty.

    Notes
    -----
    Without uncertainties: the sign test turned into an interval, its ends
    interpolated between order statistics. With them the share of each value
    below a point is a number from 0 to 1, less variable than a yes or no, and
    the interval narrows in proportion. Smoothing shifts the median of a lopsided
    distribution by about u² f'/(2 f), small while u is small against the spread.

    Examples
    --------
    >>> got = median_interval(np.arange(1.0, 21.0), np.zeros(20))
    >>> f"{got.value} ({got.low:.2f} to {got.high:.2f})"
    '10.5 (6.24 to 14.76)'
    """
    x, s = checked(values, u)
    n = x.size
    cdf_half_width, reached = _half_width_of_share(n, level)
    z = float(ndtri(0.5 + level / 2.0))
    middle = float(smoothed_quantiles(x, s, np.array([0.5]))[0])
    share = ndtr((middle - x) / np.where(s > 0, s, np.inf))
    share = np.where(s > 0, share, np.where(x <= middle, 0.0, 1.0))
    variance = max(float(np.mean((share - 0.5) ** 2)), _NOISE_ONLY_VARIANCE)
    reach = cdf_half_width * math.sqrt(4.0 * variance)
    low, high = smoothed_quantiles(x, s, np.array([0.5 - reach, 0.5 + reach])).tolist()
    floor = z * math.sqrt(float(np.mean(s**2)) / n)
    shared = z * shared_u
    median = float(np.median(x))
    return Estimate(
        value=median,
        low=min(median, middle - math.hypot(max(middle - low, floor), shared)),
        high=max(median, middle + math.hypot(max(high - middle, floor), shared)),
        level=reached,
        method="sign test on smoothed presses, interpolated",
    )


def smoothed_quantiles(values: Numbers, u: Numbers, probabilities: Numbers) -> Numbers:
    """Return quantiles of the values, each spread normally over its own uncertainty.

    Between the plotting positions (k - 1/2) / n the quantile is linear, so that
    with ``u`` all zero this is quantile type 5 of Hyndman and Fan; the outermost
    positions serve for any probability beyond them. Cost O(n) a probability.
    """
    n = values.size
    place = np.clip(np.asarray(probabilities, dtype=float) * n + 0.5, 1.0, n)
    below = np.floor(place)
    weight = place - below
    positions = np.concatenate([below, np.minimum(below + 1, n)])
    if not np.any(u > 0):
        ordered = np.sort(values)
        at = ordered[positions.astype(int) - 1]
    else:
        at = _solve(values, u, (positions - 0.5) / n)
    at_below, at_above = np.split(at, 2)
    blended: Numbers = (1.0 - weight) * at_below + weight * at_above
    return blended


def checked(values: Numbers, u: Numbers | float) -> tuple[Numbers, Numbers]:
    """Return values and uncertainties as two float arrays of one length, or refuse them."""
    x = np.asarray(values, dtype=float).ravel()
    if x.size == 0:
        raise BadSample("there is no value to work on; give at least one press")
    s = np.asarray(u, dtype=float)
    if s.ndim and s.size != x.size:
        raise BadSample(f"{x.size} values come with {s.size} uncertainties; give one for each")
    s = np.broadcast_to(s, x.shape).astype(float)
    if not (np.isfinite(x).all() and np.isfinite(s).all()):
        raise BadSample("a value or its uncertainty is not finite; leave that press out")
    if (s < 0).any():
        raise BadSample(f"an uncertainty of {s.min():g} is negative; give zero or more")
    return x, s


@lru_cache(maxsize=4096)
def _half_width_of_share(n: int, level: float) -> tuple[float, float]:
    """Half-width, as a share of the sample, that holds the median, and the level reached.

    The formula for the interpolation weight is Hettmansperger and Sheather's.
    """
    ranks = np.arange(1, n // 2 + 1)
    holds = 1.0 - 2.0 * binom.cdf(ranks - 1, n, 0.5)  # between the k-th from either end
    if ranks.size == 0 or holds[0] < level:
        reached = float(holds[0]) if ranks.size else 0.0
        return 0.5 - 0.5 / n, reached
    k = int(np.count_nonzero(holds >= level))
    inner = float(holds[k]) if k < ranks.size else 0.0
    excess = (float(holds[k - 1]) - level) / (float(holds[k - 1]) - inner)
    weight = (n - k) * excess / (k + (n - 2 * k) * excess)
    return 0.5 - (k - 0.5 + weight) / n, level


def _solve(values: Numbers, u: Numbers, probabilities: Numbers) -> Numbers:
    """Where the mean of the normal distribution functions reaches each probability.

    Newton's steps, with bisection wherever one would leave the bracket.
    """
    reach = 9.0 * float(u.max())
    span = float(np.ptp(values)) + reach
    scale = np.maximum(u, _NARROWEST * span)
    low = np.full(probabilities.shape, values.min() - reach)
    high = np.full(probabilities.shape, values.max() + reach)
    at = np.quantile(values, probabilities)
    for _ in range(_MOST_STEPS):
        z = (at[:, None] - values) / scale
        miss = ndtr(z).mean(axis=1) - probabilities
        slope = (np.exp(-0.5 * z * z) / scale).mean(axis=1) / math.sqrt(2.0 * math.pi)
        low = np.where(miss < 0, at, low)
        high = np.where(miss > 0, at, high)
        step = np.divide(miss, slope, out=np.full_like(miss, np.inf), where=slope > 0)
        newton = at - step
        inside = (newton > low) & (newton < high)
        moved = np.where(miss == 0, at, np.where(inside, newton, 0.5 * (low + high)))
        done = bool(np.all(np.abs(moved - at) <= 1e-10 * span))
        at = moved
        if done:
            break
    return at
