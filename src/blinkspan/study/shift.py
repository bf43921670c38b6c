"""By how much one sample lies above another: an interval for tied, unlike samples.

The estimate is Hodges and Lehmann's, the median of all differences. Its interval
comes from the rank-sum distribution, carried over to the quantiles of the
differences, and is corrected three times: the differences are smoothed over the
measurement's uncertainty, so that ties neither widen nor narrow it; the ranks'
variance is taken as it is seen, so that two samples of unlike spread and number
are served; and an uncertainty that does not shrink with the number of presses is
added. Without ties, uncertainty or unlike spreads it is close to the exact
interval of ``ranks.shift_interval``.

References
----------
J. L. Hodges and E. L. Lehmann, "Estimates of location based on rank tests",
Annals of Mathematical Statistics 34 (1963) 598-611.
E. Brunner and U. Munzel, "The nonparametric Behrens-Fisher problem", Biometrical
Journal 42 (2000) 17-25: the variance of the mean ranks and its degrees of freedom.
R. S. Woodruff, JASA 47 (1952) 635-646: from the distribution function to the quantile.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri, stdtrit

from blinkspan.quantities import Estimate
from blinkspan.study.ranks import MOST_COUNTED, pair_count_chances
from blinkspan.study.smoothing import REACH, Numbers, Spread, checked, part_below, spread

# Loss of rank variance to smoothing at which Student's factor is applied whole;
# without ties the rank-sum distribution is known and takes none. Tuned on the
# simulations of benchmarks/statistics.py.
_FULLY_ESTIMATED = 0.1
_FULLY_UNLIKE = 0.1  # and at which widening by unlike spreads; tuned there too
_LEAST_P = 1e-9
_NO_REACH = 1e-6  # at p of 1 nothing is reached, and no factor matters
_HALVINGS = 30  # of log p: to a millionth


@dataclass(frozen=True, slots=True)
class Shift:
    """All that the two samples say of the shift, first less second.

    Attributes
    ----------
    value : float
        The Hodges-Lehmann shift, smoothed over ties.
    differences : Spread
        The distribution of all differences.
    m, n : int
        Numbers in the two samples.
    variance_ratio : float
        Standard deviation of the mean-rank difference as seen, over that of untied
        samples of like spread.
    freedom : float
        Degrees of freedom of that standard deviation.
    estimated : float
        0 where the rank variance is known beforehand, the samples being untied and of
        like spread; 1 where it is wholly estimated and Student's factor applies whole.
    own_u, systematic_u : float
        Standard uncertainty of the shift from the presses' own uncertainties, a
        floor; and that which no number of presses reduces.
    """

    value: float
    differences: Spread
    m: int
    n: int
    variance_ratio: float
    freedom: float
    estimated: float
    own_u: float
    systematic_u: float

    def interval(self, level: float = 0.95) -> Estimate:
        """Return the shift with its interval.

        Where the samples are so small that even all differences together hold less
        than ``level``, the level returned says how much they hold.
        """
        low, high = self._ends(1.0 - level)
        return Estimate(
            self.value,
            low,
            high,
            min(level, 1.0 - self.least_p),
            "Hodges-Lehmann shift of smoothed presses",
        )

    @property
    def least_p(self) -> float:
        """The smallest two-sided p that samples of these sizes can give."""
        return max(_LEAST_P, 2.0 / math.comb(self.m + self.n, self.m))

    def excludes(self, shift: float, alpha: float = 0.05) -> bool:
        """Return whether ``p_two_sided`` is at most ``alpha``, in less time."""
        return self.least_p <= alpha and not self._reaches(shift, alpha)

    def lies_within(self, margin: float, alpha: float = 0.05) -> bool:
        """Return whether two one-sided tests at ``alpha`` show the shift inside ± margin."""
        low, high = self._ends(2.0 * alpha)
        return self.least_p <= 2.0 * alpha and -margin < low and high < margin

    def p_two_sided(self, shift: float = 0.0) -> float:
        """Return the largest p at which the interval of level 1 - p does not reach ``shift``."""
        if shift == self.value:
            return 1.0
        least, most = math.log(self.least_p), 0.0
        if not self._reaches(shift, math.exp(least)):
            return math.exp(least)
        for _ in range(_HALVINGS):
            middle = 0.5 * (least + most)
            if self._reaches(shift, math.exp(middle)):
                least = middle
            else:
                most = middle
        return math.exp(least)

    def p_at_least(self, bound: float) -> float:
        """Return the one-sided p of a true shift at or above ``bound``; small speaks against it."""
        half = 0.5 * self.p_two_sided(bound)
        return half if self.value < bound else 1.0 - half

    def p_at_most(self, bound: float) -> float:
        """Return the one-sided p of a true shift at or below ``bound``; small speaks against it."""
        half = 0.5 * self.p_two_sided(bound)
        return half if self.value > bound else 1.0 - half

    def _reaches(self, shift: float, p: float) -> bool:
        low, high = self._ends(p)
        return low <= shift <= high

    def _ends(self, p: float) -> tuple[float, float]:
        z = float(ndtri(1.0 - p / 2.0))
        pairs = self.m * self.n
        factor = 1.0
        if self.m + self.n > 2 and z > _NO_REACH:
            equal = float(stdtrit(self.m + self.n - 2, 1.0 - p / 2.0))
            factor = float(stdtrit(self.freedom, 1.0 - p / 2.0)) / equal
            factor *= 1.0 + (equal / z - 1.0) * self.estimated
        reach = _rank_sum_reach(self.m, self.n, p) * self.variance_ratio * factor
        reach = min(reach, 0.5 - 0.5 / pairs)
        low, high = self.differences.quantiles([0.5 - reach, 0.5 + reach]).tolist()
        below = math.hypot(max(self.value - low, z * self.own_u), z * self.systematic_u)
        above = math.hypot(max(high - self.value, z * self.own_u), z * self.systematic_u)
        return self.value - below, self.value + above


def shift_between(
    first: npt.ArrayLike,
    first_u: npt.ArrayLike,
    second: npt.ArrayLike,
    second_u: npt.ArrayLike,
    systematic_u: float = 0.0,
) -> Shift:
    """Return what two independent samples say of the shift between them, first less second.

    Parameters
    ----------
    first, second : array, shapes (m,) and (n,), one number or more each
        Any unit.
    first_u, second_u : array of the same shape, or a single number
        Standard uncertainty of each number, independent of all others.
    systematic_u : float
        Standard uncertainty of the shift that is common to all presses and does not
        cancel between the samples.

    Raises
    ------
    BadSample
        An empty sample, a number that is not finite, a negative uncertainty.

    Notes
    -----
    Time and memory are O(m n).
    """
    x, x_u = checked(first, first_u)
    y, y_u = checked(second, second_u)
    m, n = x.size, y.size
    pairs = x[:, None] - y
    widths = REACH * (x_u[:, None] + y_u)
    differences = spread(pairs.ravel(), widths.ravel())
    value = float(differences.quantiles(0.5))
    x_parts, y_parts, pooled = _rank_parts(x, x_u, y, y_u, value)
    untied = ((m + n) ** 2 - 1.0) / (12.0 * (m + n) ** 2)
    kept = math.sqrt(float(np.var(pooled)) / untied)
    of_x, of_y = _variance_of_mean(x_parts), _variance_of_mean(y_parts)
    alike = float(np.var(pooled)) * (m + n) / (m + n - 1.0) * (1.0 / m + 1.0 / n)
    freedom = _freedom(of_x, m, of_y, n)
    unlike = math.sqrt((of_x + of_y) / alike) if min(m, n) > 1 and of_x + of_y > 0 else 1.0
    tied = max(0.0, 1.0 - kept) / _FULLY_ESTIMATED
    return Shift(
        value=value,
        differences=differences,
        m=m,
        n=n,
        variance_ratio=kept * _half_doubted(unlike, freedom),
        freedom=freedom,
        estimated=min(1.0, max(tied, (unlike - 1.0) / _FULLY_UNLIKE)),
        own_u=math.hypot(_own_u_of_mean(x_u), _own_u_of_mean(y_u)),
        systematic_u=systematic_u,
    )


def _rank_parts(
    x: Numbers, x_u: Numbers, y: Numbers, y_u: Numbers, shift: float
) -> tuple[Numbers, Numbers, Numbers]:
    """Share of the other sample below each number, and of both samples below each."""
    z = np.concatenate([x - shift, y])
    u = np.concatenate([x_u, y_u])
    below = part_below(z[:, None] - z, REACH * (u[:, None] + u))
    m = x.size
    return below[:m, m:].mean(axis=1), below[m:, :m].mean(axis=1), below.mean(axis=1)


def _variance_of_mean(parts: Numbers) -> float:
    return float(parts.var(ddof=1)) / parts.size if parts.size > 1 else 0.0


def _own_u_of_mean(u: Numbers) -> float:
    return math.sqrt(float(np.mean(u**2)) / u.size)


def _half_doubted(ratio: float, freedom: float) -> float:
    """Return a ratio of deviations, one below 1 by half its standard error nearer to 1.

    In lopsided samples of unlike number a ratio that is small by chance goes with a
    shift that is wrong to one side; doubted whole, it would widen samples of truly
    unlike spread too far. The relative standard error of an estimated standard deviation
    is 1/√(2 ν) (JCGM 100:2008, E.4.3); the half is tuned on benchmarks/statistics.py.
    """
    return max(ratio, min(1.0, ratio * (1.0 + 0.5 / math.sqrt(2.0 * freedom))))


def _freedom(of_x: float, m: int, of_y: float, n: int) -> float:
    """Welch and Satterthwaite's degrees of freedom; those of equal samples where nothing varies."""
    if of_x + of_y == 0.0 or min(m, n) < 2:
        return max(1.0, m + n - 2.0)
    return (of_x + of_y) ** 2 / (of_x**2 / (m - 1) + of_y**2 / (n - 1))


def _rank_sum_reach(m: int, n: int, p: float) -> float:
    """How far from 1/2 the share of pairs may lie, by the untied rank-sum distribution.

    Interpolated between its steps, so that intervals narrow smoothly as p grows.
    """
    if m + n > MOST_COUNTED:
        return float(ndtri(1.0 - p / 2.0)) * math.sqrt((m + n + 1) / (12.0 * m * n))
    half = (m * n) // 2 + 1
    missed = np.concatenate([[0.0], 2.0 * np.cumsum(pair_count_chances(m, n)[:half])])
    at = np.interp(min(p, 1.0), missed, np.arange(half + 1))  # missed[k]: ends are the k-th
    return max(0.0, 0.5 - (max(at, 1.0) - 0.5) / (m * n))
