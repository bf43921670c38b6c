"""The smoothed, studentised rank statistic of two samples, for one deal or for many.

It is Brunner and Munzel's: the share of pairs in which the first is larger, less one half,
over its standard error, which holds for samples of unlike spread. Pairs are compared
with the measurement's uncertainty, so that a tie is no yes or no. The score is Student's
quantile with Welch and Satterthwaite's degrees of freedom, carried over to a normal one:
a deal that rests on few presses of the wider sample counts for less.

References
----------
E. Brunner and U. Munzel, "The nonparametric Behrens-Fisher problem", Biometrical
Journal 42 (2000) 17-25.
R. Beran, "Prepivoting test statistics: a bootstrap view of asymptotic refinements", JASA
83 (1988) 687-697 (from memory).
D. L. Wallace, "Bounds on normal approximations to Student's and the chi-square
distributions", Annals of Mathematical Statistics 30 (1959) 1121-1130 (from memory).
"""

import numpy as np

from blinkspan.study.smoothing import REACH, Numbers, part_below

# Of samples that do not overlap no error is seen: so much of a variance of pairs' share
# keeps the statistic finite and all such deals equal.
_LEAST_VARIANCE = 1e-9
FEWEST_FOR_SPREAD = 4  # the spread of three says next to nothing; their share of pairs serves alone


def parts_below(values: Numbers, u: Numbers) -> Numbers:
    """Return how much of each number lies below each other, shape (numbers, numbers)."""
    return part_below(values[:, None] - values, REACH * (u[:, None] + u))


def scores(below: Numbers, dealt: Numbers) -> Numbers:
    """Return the score of each deal, shape (deals,): above zero where the first is larger.

    Parameters
    ----------
    below : array, shape (numbers, numbers)
        Of ``parts_below`` for both samples together.
    dealt : array, shape (numbers, deals)
        1 where a number is dealt to the first sample, else 0; each column with as many.

    Notes
    -----
    Cost is O(numbers² deals).
    """
    total = below.shape[0]
    m = float(dealt[:, 0].sum())
    n = total - m
    of_all = below.sum(axis=1)
    of_first = below @ dealt  # how many of the first sample lie below each number
    in_first = dealt * of_first
    squares = (in_first * of_first).sum(axis=0)
    # Of each number of the first: the second's below it. Of each of the second: the first's.
    sum_x = of_all @ dealt - in_first.sum(axis=0)
    square_x = of_all**2 @ dealt - 2.0 * (of_all @ in_first) + squares
    sum_y = of_first.sum(axis=0) - in_first.sum(axis=0)
    square_y = (of_first**2).sum(axis=0) - squares
    share = sum_x / (m * n) - 0.5
    if min(m, n) < FEWEST_FOR_SPREAD:
        return np.asarray(share)
    of_x = np.maximum(square_x - sum_x**2 / m, 0.0) / (m * (m - 1.0) * n**2)
    of_y = np.maximum(square_y - sum_y**2 / n, 0.0) / (n * (n - 1.0) * m**2)
    variance = np.maximum(of_x + of_y, _LEAST_VARIANCE)
    freedom = variance**2 / np.maximum(
        of_x**2 / (m - 1.0) + of_y**2 / (n - 1.0), variance**2 / (total - 2.0)
    )
    return as_normal(share / np.sqrt(variance), freedom)


def as_normal(student: Numbers, freedom: Numbers) -> Numbers:
    """Return about the normal quantile of the same probability as Student's (Wallace).

    Examples
    --------
    >>> from scipy.special import ndtri, stdtr
    >>> float(as_normal(np.array([2.5]), np.array([9.0]))[0].round(3))
    2.12
    >>> float(ndtri(stdtr(9.0, 2.5)).round(3))
    2.122
    """
    bend = (8.0 * freedom + 1.0) / (8.0 * freedom + 3.0)
    quantile: Numbers = np.sign(student) * bend * np.sqrt(freedom * np.log1p(student**2 / freedom))
    return quantile
