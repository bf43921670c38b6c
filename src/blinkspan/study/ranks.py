"""Rank tests that are exact under ties, and the probability that one draw beats another.

Exact means here: every way of dealing the pooled numbers to the two groups is
counted, tied numbers sharing their mean rank. The counting is done by adding one
number at a time to a table of possible rank sums (Streitberg and Röhmel), not by
listing. Books and packages often fall back on a normal approximation where numbers
tie; the p values then differ.

References
----------
M. Hollander and D. A. Wolfe, "Nonparametric Statistical Methods" (1973), 3.1-3.3
(signed ranks) and 4.1-4.3 (rank sums).
B. Streitberg and J. Röhmel, "Exact distributions for permutation and rank tests",
Statistical Software Newsletter 12 (1986) 10-17.
R. G. Newcombe, "Confidence intervals for an effect size measure based on the
Mann-Whitney statistic, part 2", Statistics in Medicine 25 (2006) 559-573, method 5.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from blinkspan.errors import BadSample
from blinkspan.quantities import Estimate
from blinkspan.study.smoothing import Numbers, checked

# Above so many numbers the table of rank sums grows past a tenth of a second, and
# the normal approximation is right to three digits.
MOST_COUNTED = 120
_EDGE = 1e-9  # at 0 and 1 themselves the score is zero whatever the sample


@dataclass(frozen=True, slots=True)
class RankTest:
    """A rank test of "no shift".

    Attributes
    ----------
    statistic : float
        Rank sum: the number of pairs in which the first is larger, ties counted
        half (U). Signed ranks: the sum of the ranks of the positive values (V).
    p : float
        Two-sided. ``p_greater`` and ``p_less`` are one-sided, for the first group
        (or the values) being larger and smaller.
    method : str
        "exact" or "normal approximation".
    """

    statistic: float
    p: float
    p_greater: float
    p_less: float
    method: str


def rank_sum_test(first: npt.ArrayLike, second: npt.ArrayLike) -> RankTest:
    """Return the rank-sum (Mann-Whitney, Wilcoxon) test, exact under ties up to 120 numbers.

    Raises
    ------
    BadSample
        An empty group or a number that is not finite.

    Notes
    -----
    The two-sided p counts deals whose statistic is as far from its mean. Beyond
    120 numbers: normal approximation with the variance of the tied ranks and no
    continuity correction.

    Examples
    --------
    >>> round(rank_sum_test([1, 2, 3], [4, 5, 6, 7]).p, 6)  # 2 / 35
    0.057143
    """
    x, y = _groups(first, second)
    m, n = x.size, y.size
    doubled = np.rint(2.0 * _ranks(np.concatenate([x, y]))).astype(np.int64)
    own = int(doubled[:m].sum())
    u = own / 2.0 - m * (m + 1) / 2.0
    if m + n > MOST_COUNTED:
        variance = m * n / (m + n - 1) * float(np.var(doubled)) / 4.0
        return _by_normal(u, u - m * n / 2.0, variance)
    chance = _dealt(tuple(np.sort(doubled).tolist()), m)
    return _by_counting(u, chance, own, twice_mean=2 * m * (m + n + 1))


def signed_rank_test(values: npt.ArrayLike) -> RankTest:
    """Return the signed-rank (Wilcoxon) test, exact under ties up to 120 numbers.

    Zeros are dropped first, as Wilcoxon did. The two-sided p counts sign patterns
    whose statistic is as far from its mean.

    Raises
    ------
    BadSample
        No number other than zero, or one that is not finite.
    """
    d, _ = checked(values, 0.0)
    d = d[d != 0.0]
    if d.size == 0:
        raise BadSample("all differences are zero; a signed-rank test needs one that is not")
    doubled = np.rint(2.0 * _ranks(np.abs(d))).astype(np.int64)
    own = int(doubled[d > 0].sum())
    total = int(doubled.sum())
    if d.size > MOST_COUNTED:
        return _by_normal(own / 2.0, (own - total / 2.0) / 2.0, float((doubled**2).sum()) / 16.0)
    chance = np.zeros(total + 1)
    chance[0] = 1.0
    for rank in doubled.tolist():
        chance[rank:] += chance[: total + 1 - rank].copy()
        chance /= 2.0
    return _by_counting(own / 2.0, chance, own, twice_mean=total)


def probability_less(first: npt.ArrayLike, second: npt.ArrayLike, level: float = 0.95) -> Estimate:
    """Return the probability that a draw of the first is less than one of the second.

    Ties count half. For latencies: that a press of the first setup beats a press of
    the second. The interval is Newcombe's method 5, a score interval, which stays
    inside 0 and 1 and says something even where the groups do not overlap.

    Raises
    ------
    BadSample
        An empty group or a number that is not finite.

    Examples
    --------
    >>> a = probability_less([1, 2, 3], [2, 4])
    >>> a.value, round(a.low, 2), round(a.high, 2)
    (0.75, 0.26, 0.96)
    """
    x, y = _groups(first, second)
    m, n = x.size, y.size
    ranks = _ranks(np.concatenate([x, y]))
    share = float(ranks[m:].sum() - n * (n + 1) / 2.0) / (m * n)
    z = float(ndtri(0.5 + level / 2.0))
    more = (m + n) / 2.0 - 1.0

    def outside(p: float) -> float:
        variance = p * (1 - p) * (1 + more * (1 - p) / (2 - p) + more * p / (1 + p)) / (m * n)
        return (share - p) ** 2 - z * z * variance

    from scipy.optimize import brentq  # a quarter of a second to import, wanted here only

    low = float(brentq(outside, 0.0, min(share, 1.0 - _EDGE))) if share > 0 else 0.0
    high = float(brentq(outside, max(share, _EDGE), 1.0)) if share < 1 else 1.0
    return Estimate(share, low, high, level, "Newcombe's method 5")


def hodges_lehmann(first: npt.ArrayLike, second: npt.ArrayLike) -> float:
    """Return the median of all differences, first less second.

    Raises
    ------
    BadSample
        An empty group or a number that is not finite.
    """
    x, y = _groups(first, second)
    return float(np.median(x[:, None] - y))


def pseudo_median(values: npt.ArrayLike, level: float = 0.95) -> Estimate:
    """Return the median of all means of two (Walsh averages) with its signed-rank interval.

    The ends are Walsh averages, so the interval holds at least ``level`` whatever
    ties there are; the returned level is what it holds without ties.

    Raises
    ------
    BadSample
        No number, or one that is not finite.
    """
    x, _ = checked(values, 0.0)
    n = x.size
    walsh = np.sort(((x[:, None] + x) / 2.0)[np.triu_indices(n)])
    chance = np.array([1.0])
    for rank in range(1, n + 1):
        chance = np.concatenate([chance, np.zeros(rank)]) + np.concatenate([np.zeros(rank), chance])
        chance /= 2.0
    k, reached = _rank_of_end(chance, level)
    return Estimate(
        float(np.median(walsh)), float(walsh[k]), float(walsh[-1 - k]), reached, "signed ranks"
    )


def shift_interval(first: npt.ArrayLike, second: npt.ArrayLike, level: float = 0.95) -> Estimate:
    """Return the Hodges-Lehmann shift, first less second, with its exact rank-sum interval.

    The ends are differences between numbers of the two groups. For groups that
    differ by a shift alone the closed interval holds at least ``level`` under any
    ties; the returned level is what it holds without ties, and 0 where the groups
    are too small for any interval. With many ties it holds more than it says:
    ``shift`` is the sharper tool where the numbers' uncertainties are known.

    Raises
    ------
    BadSample
        An empty group, a number that is not finite, or more than 120 numbers.
    """
    x, y = _groups(first, second)
    if x.size + y.size > MOST_COUNTED:
        raise BadSample(
            f"{x.size + y.size} numbers are too many to count exactly; "
            f"use at most {MOST_COUNTED} or an approximate interval"
        )
    differences = np.sort((x[:, None] - y).ravel())
    k, reached = _rank_of_end(pair_count_chances(x.size, y.size), level)
    return Estimate(
        float(np.median(differences)),
        float(differences[k]),
        float(differences[-1 - k]),
        reached,
        "exact rank sums",
    )


@lru_cache(maxsize=512)
def pair_count_chances(m: int, n: int) -> Numbers:
    """Return the chance of each number of pairs 0..m n in which the first is larger (no ties)."""
    chance = _dealt(tuple(range(1, m + n + 1)), m)
    return chance[m * (m + 1) // 2 : m * (m + 1) // 2 + m * n + 1]


def _groups(first: npt.ArrayLike, second: npt.ArrayLike) -> tuple[Numbers, Numbers]:
    return checked(first, 0.0)[0], checked(second, 0.0)[0]


def _ranks(values: Numbers) -> Numbers:
    """Return the rank of each number, counted from 1; those that are equal share their mean."""
    _, at, counts = np.unique(values, return_inverse=True, return_counts=True)
    shared: Numbers = np.cumsum(counts) - (counts - 1) / 2.0
    return shared[at]


def _dealt(ranks: tuple[int, ...], taken: int) -> Numbers:
    """Chance of each sum of ``taken`` ranks drawn without putting back."""
    most = sum(ranks[-taken:])
    table = np.zeros((taken + 1, most + 1))
    table[0, 0] = 1.0
    for rank in ranks:
        table[1:, rank:] += table[:-1, : most + 1 - rank].copy()
    chance: Numbers = table[taken] / math.comb(len(ranks), taken)
    return chance


def _by_counting(statistic: float, chance: Numbers, own: int, *, twice_mean: int) -> RankTest:
    """Tails of a counted distribution over sums, of which ``own`` was seen."""
    sums = np.arange(chance.size)
    as_far = np.abs(2 * sums - twice_mean) >= abs(2 * own - twice_mean)
    return RankTest(
        statistic,
        min(1.0, float(chance[as_far].sum())),
        min(1.0, float(chance[own:].sum())),
        min(1.0, float(chance[: own + 1].sum())),
        "exact",
    )


def _by_normal(statistic: float, above_mean: float, variance: float) -> RankTest:
    if variance == 0.0:
        return RankTest(statistic, 1.0, 1.0, 1.0, "normal approximation")
    z = above_mean / math.sqrt(variance)
    p_less = float(ndtr(z))
    p_greater = float(ndtr(-z))
    return RankTest(
        statistic, 2.0 * min(p_less, p_greater), p_greater, p_less, "normal approximation"
    )


def _rank_of_end(chance: Numbers, level: float) -> tuple[int, float]:
    """Index, from either end of the sorted differences, of the interval's end, and its level."""
    missed = 2.0 * np.cumsum(chance)  # the interval between the k-th from either end misses
    k = int(np.count_nonzero(missed[: (chance.size - 1) // 2] <= 1.0 - level + 1e-12)) - 1
    if k < 0:
        return 0, max(0.0, 1.0 - float(missed[0]))
    return k, 1.0 - float(missed[k])
