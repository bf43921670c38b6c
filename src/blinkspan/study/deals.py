"""Ways of dealing pooled presses to two setups, and the place of one deal among them.

The presses lie in ascending order, so that a deal is a choice of ranks and serves every
sample of these sizes. All deals are listed where they are few. Otherwise a fixed
selection stands for them: so many are drawn, laid in order by their score on ranks
without ties, and taken at even distances. One sample then always gets one answer, and the
selection errs no more than the larger draw. It is closed under exchanging setups of equal
number, so that turning a comparison round turns its answer round.

References
----------
B. Phipson and G. K. Smyth, "Permutation p-values should never be zero", Statistical
Applications in Genetics and Molecular Biology 9 (2010) 39: the deal that was seen counts.
H. O. Lancaster, "Significance tests in discrete distributions", JASA 56 (1961) 223-234:
what ties with the outcome seen counts half (from memory).
"""

import math
from functools import lru_cache
from itertools import combinations

import numpy as np

from blinkspan.study.smoothing import Numbers
from blinkspan.study.studentised import parts_below, scores

DEALS = 2000
DEALS_IN_A_PLAN = 400  # the level is the same and the power 1 in 100 less
_DRAWN_FOR_ONE = 10
_MOST_LISTED = 4000
_AT_ONCE = 4000
_SAME = 1e-9  # scores of one deal added up in another order differ in the last bits


@lru_cache(maxsize=128)
def deals(m: int, n: int, wanted: int = DEALS) -> Numbers:
    """Return deals of m + n presses, shape (m + n, deals): 1 where dealt to the first setup.

    Parameters
    ----------
    m, n : int
        ``m <= n``; the presses are in ascending order.
    wanted : int
        Even; how many stand for all where there are too many to list.

    Notes
    -----
    Cost is O((m + n)² wanted), once for these sizes.
    """
    total = m + n
    if math.comb(total, m) <= _MOST_LISTED:
        listed = np.zeros((total, math.comb(total, m)))
        chosen = np.array(list(combinations(range(total), m)))
        np.put_along_axis(listed, chosen.T, 1.0, axis=0)
        return listed
    rng = np.random.default_rng((m, n))
    below = parts_below(np.arange(total, dtype=float), np.zeros(total))
    kept = wanted // 2 if m == n else wanted
    drawn = [_drawn(m, n, min(_AT_ONCE, left), rng) for left in _portions(_DRAWN_FOR_ONE * kept)]
    score = np.concatenate([scores(below, part) for part in drawn])
    dealt = np.concatenate(drawn, axis=1)
    if m == n:
        turned = score < 0.0
        dealt[:, turned] = 1.0 - dealt[:, turned]
        score = np.abs(score)
    even = np.argsort(score, kind="stable")[_DRAWN_FOR_ONE // 2 :: _DRAWN_FOR_ONE]
    dealt = dealt[:, even]
    return np.concatenate([dealt, 1.0 - dealt], axis=1) if m == n else dealt


def place_among(own: float, others: Numbers, possible: int) -> float:
    """Return the one-sided p of a deal's score: its mean rank from the top, as a share.

    Parameters
    ----------
    own : float
        Score of the deal that was seen, about normal where the setups do not differ.
    others : array, shape (deals,)
        Scores of all deals, the own among them, or of those that stand for all.
    possible : int
        How many deals there are.

    Examples
    --------
    >>> place_among(2.0, np.array([2.0, 1.0, 1.0, 0.0]), 4)
    0.25
    >>> place_among(1.0, np.array([2.0, 1.0, 1.0, 0.0]), 4)
    0.625
    """
    near = _SAME * max(1.0, abs(own))
    above = int(np.count_nonzero(others > own + near))
    tied = int(np.count_nonzero(others >= own - near)) - above
    if others.size >= possible:
        return (above + 0.5 * (tied + 1)) / possible
    return (above + 0.5 * tied + 1.0) / (others.size + 1)


def _drawn(m: int, n: int, number: int, rng: np.random.Generator) -> Numbers:
    chosen = rng.permuted(np.tile(np.arange(m + n), (number, 1)), axis=1)[:, :m]
    dealt = np.zeros((m + n, number))
    np.put_along_axis(dealt, chosen.T, 1.0, axis=0)
    return dealt


def _portions(number: int) -> range:
    """How many are left before each portion."""
    return range(number, 0, -_AT_ONCE)
