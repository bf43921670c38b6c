"""Whether two means or shifts are the same within a stated margin: two one-sided tests.

A large p value of a difference test is no evidence of sameness. Sameness is shown
when both "lower by the margin or more" and "higher by the margin or more" are
rejected; that is the case exactly when the interval of level 1 - 2 alpha lies
inside ± margin.

References
----------
D. J. Schuirmann, "A comparison of the two one-sided tests procedure and the power
approach", J. Pharmacokinetics and Biopharmaceutics 15 (1987) 657-680.
B. L. Welch, Biometrika 34 (1947) 28-35: unequal variances.
"""

import math
from dataclasses import dataclass

import numpy.typing as npt
from scipy.special import stdtr, stdtrit

from blinkspan.errors import BadSample, BadSetting
from blinkspan.quantities import Estimate
from blinkspan.study.shift import Shift
from blinkspan.study.smoothing import checked


@dataclass(frozen=True, slots=True)
class Equivalence:
    """Two one-sided tests of a difference against ± margin.

    Attributes
    ----------
    difference : Estimate
        With the interval of level 1 - 2 alpha, which lies inside ± margin exactly
        when ``same``.
    p_low, p_high : float
        Of a true difference at or below - margin, at or above + margin.
    """

    difference: Estimate
    margin: float
    p_low: float
    p_high: float
    alpha: float

    @property
    def p(self) -> float:
        """The larger of the two p values: that of "not the same"."""
        return max(self.p_low, self.p_high)

    @property
    def same(self) -> bool:
        """Whether sameness within the margin is shown at ``alpha``."""
        return self.p <= self.alpha


def same_means(
    first: npt.ArrayLike, second: npt.ArrayLike, margin: float, alpha: float = 0.05
) -> Equivalence:
    """Return whether two independent samples have the same mean within ± margin (Welch).

    Raises
    ------
    BadSample
        Fewer than 2 numbers in a sample, none that differs, or one not finite.
    BadSetting
        A margin or ``alpha`` that cannot be.
    """
    x, _ = checked(first, 0.0)
    y, _ = checked(second, 0.0)
    if min(x.size, y.size) < 2:
        raise BadSample(f"{min(x.size, y.size)} number has no spread; give 2 or more in each")
    return same_means_from_summaries(
        (float(x.mean()), float(y.mean())),
        (float(x.std(ddof=1)), float(y.std(ddof=1))),
        (x.size, y.size),
        margin,
        alpha,
    )


def same_means_from_summaries(
    means: tuple[float, float],
    sds: tuple[float, float],
    ns: tuple[int, int],
    margin: float,
    alpha: float = 0.05,
) -> Equivalence:
    """Return the same as ``same_means`` from means, standard deviations and numbers."""
    of_first, of_second = sds[0] ** 2 / ns[0], sds[1] ** 2 / ns[1]
    total = of_first + of_second
    if total == 0.0:
        raise BadSample("neither sample has any spread; a t test cannot judge their difference")
    freedom = total**2 / (of_first**2 / (ns[0] - 1) + of_second**2 / (ns[1] - 1))
    return _by_student(means[0] - means[1], math.sqrt(total), freedom, margin, alpha, "Welch")


def same_in_pairs(differences: npt.ArrayLike, margin: float, alpha: float = 0.05) -> Equivalence:
    """Return whether paired differences have a mean of zero within ± margin.

    Raises
    ------
    BadSample
        Fewer than 2 differences, none that differs from the others, or one not finite.
    BadSetting
        A margin or ``alpha`` that cannot be.
    """
    d, _ = checked(differences, 0.0)
    if d.size < 2 or d.std() == 0.0:
        raise BadSample("the differences have no spread; give 2 or more that are not all equal")
    error = float(d.std(ddof=1)) / math.sqrt(d.size)
    return _by_student(float(d.mean()), error, d.size - 1.0, margin, alpha, "paired t")


def same_shift(shift: Shift, margin: float, alpha: float = 0.05) -> Equivalence:
    """Return whether a Hodges-Lehmann shift is zero within ± margin.

    Samples so small that no p of theirs reaches 2 alpha are never shown the same.

    Raises
    ------
    BadSetting
        A margin or ``alpha`` that cannot be.
    """
    _refuse(margin, alpha)
    return Equivalence(
        shift.interval(1.0 - 2.0 * alpha),
        margin,
        shift.p_at_most(-margin),
        shift.p_at_least(margin),
        alpha,
    )


def _by_student(
    difference: float, error: float, freedom: float, margin: float, alpha: float, method: str
) -> Equivalence:
    _refuse(margin, alpha)
    reach = float(stdtrit(freedom, 1.0 - alpha)) * error
    return Equivalence(
        Estimate(difference, difference - reach, difference + reach, 1.0 - 2.0 * alpha, method),
        margin,
        float(stdtr(freedom, -(difference + margin) / error)),
        float(stdtr(freedom, (difference - margin) / error)),
        alpha,
    )


def _refuse(margin: float, alpha: float) -> None:
    if not 0.0 < margin < math.inf:
        raise BadSetting(f"a margin of {margin:g} cannot be; give one above zero")
    if not 0.0 < alpha < 0.5:
        raise BadSetting(f"an error rate of {alpha:g} cannot be; give one between 0 and 0.5")
