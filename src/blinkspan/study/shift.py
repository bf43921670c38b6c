"""By how much one sample lies above another: tests and an interval for tied, unlike samples.

The estimate is Hodges and Lehmann's, the median of all differences. A shift is tested by
taking it off the first sample and dealing all numbers afresh: where the two then differ in
nothing, every deal was as likely as the one seen, whatever ties and spreads there are. The
deals are ranked by a studentised statistic, so that the test also holds, for larger
samples, where the two spread differently; for smaller ones the p by Student's distribution
is told where it is the larger. The interval is all shifts not rejected, widened
by an uncertainty that does not shrink with the number of presses.

References
----------
J. L. Hodges and E. L. Lehmann, "Estimates of location based on rank tests",
Annals of Mathematical Statistics 34 (1963) 598-611.
K. Neubert and E. Brunner, "A studentized permutation test for the non-parametric
Behrens-Fisher problem", Computational Statistics & Data Analysis 51 (2007) 5192-5204
(from memory).
A. Janssen, "Studentized permutation tests for non-i.i.d. hypotheses and the generalized
Behrens-Fisher problem", Statistics & Probability Letters 36 (1997) 9-21 (from memory).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from blinkspan.quantities import Estimate
from blinkspan.study.deals import DEALS, DEALS_IN_A_PLAN, deals, place_among
from blinkspan.study.ranks import MOST_COUNTED, pair_count_chances
from blinkspan.study.smoothing import REACH, Numbers, checked, spread
from blinkspan.study.studentised import FEWEST_FOR_SPREAD, parts_below, scores

_LEAST_P = 1e-9
_MOST_DEALT_QUICKLY = 24
_CLOSE = 1e-3  # of the way from the estimate: below what the deals resolve
_MOST_STEPS = 40
_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True)
class Shift:
    """All that the two samples say of the shift, first less second.

    Attributes
    ----------
    value : float
        The Hodges-Lehmann shift, smoothed over ties.
    first, first_u, second, second_u : array
        The samples, and each number's standard uncertainty.
    own_u, systematic_u : float
        Standard uncertainty of the shift from the presses' own uncertainties, a
        floor; and that which no number of presses reduces.
    quick : bool
        Fewer deals and none beyond 24 numbers: for experiments simulated by the hundred.
    """

    value: float
    first: Numbers
    first_u: Numbers
    second: Numbers
    second_u: Numbers
    own_u: float
    systematic_u: float
    quick: bool = False

    def interval(self, level: float = 0.95) -> Estimate:
        """Return the shift with its interval.

        Where the samples are so small that no deal of theirs is as rare as ``level``
        wants, the level returned says how much they hold.
        """
        p = max(1.0 - level, self.least_p)
        return Estimate(
            self.value,
            self.value - self._reach(-1.0, p),
            self.value + self._reach(1.0, p),
            min(level, 1.0 - self.least_p),
            "Hodges-Lehmann shift, studentised permutation of smoothed presses",
        )

    @property
    def least_p(self) -> float:
        """The smallest two-sided p that samples of these sizes can give."""
        m, n = self.first.size, self.second.size
        return max(_LEAST_P, 2.0 / math.comb(m + n, m))

    def excludes(self, shift: float, alpha: float = 0.05) -> bool:
        """Return whether ``p_two_sided`` is at most ``alpha``, in less time."""
        apart = abs(shift - self.value)
        doubt = -float(ndtri(0.5 * alpha)) * self.systematic_u
        if self.least_p > alpha + _ROUNDING or apart <= doubt:
            return False
        inner = math.sqrt(apart**2 - doubt**2)  # what is left for the presses themselves
        side = math.copysign(1.0, shift - self.value)
        return self._p_of(side, inner) <= alpha + _ROUNDING

    def lies_within(self, margin: float, alpha: float = 0.05) -> bool:
        """Return whether two one-sided tests at ``alpha`` show the shift inside ± margin."""
        return (
            abs(self.value) < margin
            and self.excludes(margin, 2.0 * alpha)
            and self.excludes(-margin, 2.0 * alpha)
        )

    def p_two_sided(self, shift: float = 0.0) -> float:
        """Return the largest p at which the interval of level 1 - p does not reach ``shift``."""
        apart = abs(shift - self.value)
        if apart == 0.0:
            return 1.0
        side = math.copysign(1.0, shift - self.value)
        if self.systematic_u == 0.0:
            return self._p_of(side, apart)

        def reached_by(inner: float) -> float:
            doubt = -float(ndtri(0.5 * self._p_of(side, inner))) * self.systematic_u
            return math.hypot(inner, doubt) / apart - 1.0

        return self._p_of(side, _where_zero(reached_by, 0.0, apart))

    def p_at_least(self, bound: float) -> float:
        """Return the one-sided p of a true shift at or above ``bound``; small speaks against it."""
        half = 0.5 * self.p_two_sided(bound)
        return half if self.value < bound else 1.0 - half

    def p_at_most(self, bound: float) -> float:
        """Return the one-sided p of a true shift at or below ``bound``; small speaks against it."""
        half = 0.5 * self.p_two_sided(bound)
        return half if self.value > bound else 1.0 - half

    def _reach(self, side: float, p: float) -> float:
        """How far the interval of level 1 - p reaches to one side of the estimate."""
        z = -float(ndtri(0.5 * p))
        far = self._apart_for_good(side)

        def beyond(apart: float) -> float:
            return -float(ndtri(0.5 * self._p_of(side, apart))) - z + _ROUNDING

        return math.hypot(_where_zero(beyond, 0.0, far), z * self.systematic_u)

    def _apart_for_good(self, side: float) -> float:
        """From the estimate to where the shifted samples no longer overlap at all."""
        widest = REACH * float(self.first_u.max() + self.second_u.max())
        if side > 0.0:
            end = float(self.first.max() - self.second.min()) - self.value
        else:
            end = self.value - float(self.first.min() - self.second.max())
        return 1.001 * (end + widest) + 10.0 * self.own_u

    def _p_of(self, side: float, apart: float) -> float:
        """Two-sided p of a shift so far to one side, without the systematic uncertainty."""
        if apart == 0.0:
            return 1.0
        floor = 2.0 * float(ndtr(-apart / self.own_u)) if self.own_u > 0.0 else 0.0
        seen = 2.0 * self._place(side, self.value + side * apart)
        return max(min(seen, 1.0), floor, self.least_p)

    def _place(self, side: float, shift: float) -> float:
        """One-sided p of the samples as they lie when the shift is taken off the first."""
        values = np.concatenate([self.first - shift, self.second])
        u = np.concatenate([self.first_u, self.second_u])
        own = np.zeros((values.size, 1))
        m, n = self.first.size, self.second.size
        if m > n:  # the smaller is dealt first, so that a comparison turned round is the same
            own[m:], m, n, side = 1.0, n, m, -side
        else:
            own[:m] = 1.0
        order = np.lexsort((u, values))
        below = parts_below(values[order], u[order])
        score = -side * float(scores(below, own[order])[0])
        most = _MOST_DEALT_QUICKLY if self.quick else MOST_COUNTED
        by_student = float(ndtr(-score)) if m >= FEWEST_FOR_SPREAD else 0.0
        if m + n > most and m >= FEWEST_FOR_SPREAD:
            return by_student
        others = -side * scores(below, deals(m, n, DEALS_IN_A_PLAN if self.quick else DEALS))
        p = place_among(score, others, math.comb(m + n, m))
        if p * (others.size + 1) <= 1.0 + _ROUNDING:
            p = min(p, _rank_sum_tail(below, own[order][:, 0], m, n))
        # A few widely spread presses against many steady ones are dealt out too evenly.
        return max(p, by_student)


def shift_between(
    first: npt.ArrayLike,
    first_u: npt.ArrayLike,
    second: npt.ArrayLike,
    second_u: npt.ArrayLike,
    systematic_u: float = 0.0,
    *,
    quick: bool = False,
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
    quick : bool
        Fewer deals and none beyond 24 numbers: for experiments simulated by the hundred.

    Raises
    ------
    BadSample
        An empty sample, a number that is not finite, a negative uncertainty.

    Notes
    -----
    A test costs O((m + n)² deals) up to 120 numbers; beyond, where Student's
    distribution serves without any deals, O((m + n)²).
    """
    x, x_u = checked(first, first_u)
    y, y_u = checked(second, second_u)
    pairs = x[:, None] - y
    widths = REACH * (x_u[:, None] + y_u)
    return Shift(
        value=float(spread(pairs.ravel(), widths.ravel()).quantiles(0.5)),
        first=x,
        first_u=x_u,
        second=y,
        second_u=y_u,
        own_u=math.hypot(_own_u_of_mean(x_u), _own_u_of_mean(y_u)),
        systematic_u=systematic_u,
        quick=quick,
    )


def _rank_sum_tail(below: Numbers, own: Numbers, m: int, n: int) -> float:
    """One-sided p of the rank-sum test, for where no deal drawn is as extreme as the own.

    Both are tests by dealing, so that taking this one there keeps its level. Ties make rank
    sums vary less: the chances without ties are then too large, not too small.
    """
    pairs = float(own @ below @ (1.0 - own))
    as_extreme = math.ceil(max(pairs, m * n - pairs) - 0.5)
    return float(pair_count_chances(m, n)[as_extreme:].sum())


def _own_u_of_mean(u: Numbers) -> float:
    return math.sqrt(float(np.mean(u**2)) / u.size)


def _where_zero(rising: Callable[[float], float], low: float, high: float) -> float:
    """Return the place between two, to a thousandth of itself, where a function passes zero.

    ``rising`` goes in steps, is below zero (or without end so) at ``low``; where it is
    not above zero at ``high`` either, ``high`` is returned.
    """
    at_high = rising(high)
    if at_high <= 0.0:
        return high
    at_low = -math.inf
    for step in range(_MOST_STEPS):
        if high - low <= _CLOSE * high:
            break
        part = 0.5
        if math.isfinite(at_low) and math.isfinite(at_high) and step % 3 != 2:
            part = min(max(at_low / (at_low - at_high), 0.05), 0.95)
        middle = low + part * (high - low)
        found = rising(middle)
        if found > 0.0:
            high, at_high = middle, found
        else:
            low, at_low = middle, found
    return high
