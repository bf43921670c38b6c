"""Bootstrap intervals and permutation tests for any statistic.

References
----------
B. Efron, "Better bootstrap confidence intervals", JASA 82 (1987) 171-185.
B. Efron and R. J. Tibshirani, "An Introduction to the Bootstrap" (1993), chapters
6, 13 and 14.
B. Phipson and G. K. Smyth, "Permutation p-values should never be zero",
Statistical Applications in Genetics and Molecular Biology 9 (2010) 39.
"""

import math
from collections.abc import Callable
from itertools import combinations

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from blinkspan.errors import BadSample, BadSetting
from blinkspan.quantities import Estimate
from blinkspan.study.smoothing import Numbers, checked

# From rows (draws) of samples, shape (draws, n) or (draws, n, columns), to one
# value a row.
Statistic = Callable[[Numbers], Numbers]

_MOST_AT_ONCE = 2_000_000  # numbers held at a time: 16 MB
_MOST_DEALS = 200_000  # listed in full up to here, drawn at random beyond


def bootstrap(
    sample: npt.ArrayLike, statistic: Statistic, draws: int, rng: np.random.Generator
) -> Numbers:
    """Return the statistic of ``draws`` samples drawn with replacement from the rows.

    Parameters
    ----------
    sample : array, shape (n,) or (n, columns)
        Rows are drawn whole.
    statistic : callable
        Maps an array of shape (draws, n) or (draws, n, columns) to shape (draws,).
    """
    rows = np.asarray(sample, dtype=float)
    n = rows.shape[0] if rows.ndim else 0
    if n == 0 or not np.isfinite(rows).all():
        raise BadSample("a sample to draw from holds no number or one that is not finite")
    if draws < 1:
        raise BadSetting(f"{draws} draws cannot be; give one or more")
    at_once = max(1, _MOST_AT_ONCE // rows.size)
    parts = [
        statistic(rows[rng.integers(n, size=(min(at_once, draws - done), n))])
        for done in range(0, draws, at_once)
    ]
    return np.concatenate(parts)


def percentile_interval(
    sample: npt.ArrayLike,
    statistic: Statistic,
    *,
    draws: int = 10_000,
    rng: np.random.Generator,
    level: float = 0.95,
) -> Estimate:
    """Return the statistic with the bootstrap's percentile interval."""
    rows = np.asarray(sample, dtype=float)
    drawn = bootstrap(rows, statistic, draws, rng)
    low, high = np.quantile(drawn, [0.5 - level / 2.0, 0.5 + level / 2.0]).tolist()
    return Estimate(float(statistic(rows[None])[0]), low, high, level, "bootstrap percentile")


def bca_interval(
    sample: npt.ArrayLike,
    statistic: Statistic,
    *,
    draws: int = 10_000,
    rng: np.random.Generator,
    level: float = 0.95,
) -> Estimate:
    """Return the statistic with the bias-corrected and accelerated bootstrap interval.

    Draws that tie with the sample's own value count half towards the bias, so that
    medians of tied numbers are served. Where every draw lies on one side, there is
    no such interval and the percentile one is returned, which its method says.
    """
    rows = np.asarray(sample, dtype=float)
    own = float(statistic(rows[None])[0])
    drawn = bootstrap(rows, statistic, draws, rng)
    below = float(np.mean(drawn < own) + 0.5 * np.mean(drawn == own))
    tails = np.array([0.5 - level / 2.0, 0.5 + level / 2.0])
    method = "bootstrap percentile"
    if 0.0 < below < 1.0:
        bias = float(ndtri(below))
        pushed = bias + ndtri(tails)
        tails = ndtr(bias + pushed / (1.0 - acceleration(rows, statistic) * pushed))
        method = "bootstrap BCa"
    low, high = np.quantile(drawn, tails).tolist()
    return Estimate(own, low, high, level, method)


def acceleration(sample: npt.ArrayLike, statistic: Statistic) -> float:
    """Return the acceleration of BCa by the jackknife (Efron and Tibshirani 14.15)."""
    apart = jackknife(sample, statistic)
    apart = apart.mean() - apart
    scale = float((apart**2).sum()) ** 1.5
    return float((apart**3).sum()) / (6.0 * scale) if scale > 0.0 else 0.0


def jackknife(sample: npt.ArrayLike, statistic: Statistic) -> Numbers:
    """Return the statistic of the sample with each row left out in turn, shape (n,)."""
    rows = np.asarray(sample, dtype=float)
    n = rows.shape[0]
    if n < 2:
        raise BadSample(f"{n} row cannot be left out; give 2 or more")
    kept = np.array([np.delete(np.arange(n), left_out) for left_out in range(n)])
    return statistic(rows[kept])


def permutation_p(
    first: npt.ArrayLike,
    second: npt.ArrayLike,
    statistic: Callable[[Numbers, Numbers], Numbers],
    *,
    rng: np.random.Generator,
    draws: int = 10_000,
) -> tuple[float, str]:
    """Return the two-sided permutation p of a statistic of two groups, and how it was found.

    Every deal of the pooled numbers is listed where there are at most 200,000, and
    the p is exact under any ties; otherwise ``draws`` deals are drawn and the
    sample's own deal is counted among them.

    Parameters
    ----------
    statistic : callable
        Maps arrays of shapes (deals, m) and (deals, n) to shape (deals,); its
        distance from its mean over all deals is compared.

    Returns
    -------
    p : float
    method : str
        "exact" or "10000 random deals".
    """
    x, _ = checked(first, 0.0)
    y, _ = checked(second, 0.0)
    pooled = np.concatenate([x, y])
    m, total = x.size, x.size + y.size
    deals = math.comb(total, m)
    listed = deals <= _MOST_DEALS
    if listed:
        taken = np.array(list(combinations(range(total), m)))
        left = np.ones((deals, total), dtype=bool)
        np.put_along_axis(left, taken, False, axis=1)
        order = np.argsort(left, axis=1, kind="stable")
    else:
        order = rng.permuted(np.tile(np.arange(total), (draws, 1)), axis=1)
    dealt = pooled[order]
    values = statistic(dealt[:, :m], dealt[:, m:])
    own = float(statistic(x[None], y[None])[0])
    centre = float(values.mean())
    # Sums of the same numbers in another order differ in the last bits.
    near = 1e-9 * max(1.0, float(np.abs(values).max()))
    as_far = int(np.count_nonzero(np.abs(values - centre) >= abs(own - centre) - near))
    if listed:
        return as_far / deals, "exact"
    return (as_far + 1) / (draws + 1), f"{draws} random deals"
