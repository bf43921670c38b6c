"""Whether presses drift over a session, and whether each resembles the one before.

Intervals and tests take presses as independent. A drift (the console warms up, the
camera's focus wanders) or a run of like presses (pressed in step with the refresh)
makes them claim too much.

References
----------
P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", JASA 63
(1968) 1379-1389: the median slope, and its interval from the number of rising pairs.
M. G. Kendall, "Rank Correlation Methods" (1955): the variance of that number with ties.
NIST Statistical Reference Datasets, univariate: the lag-1 autocorrelation used here.
P. A. P. Moran, "Some theorems on time series II", Biometrika 35 (1948) 255-260: its
mean -1/(n - 1) and variance (n - 2)² / (n² (n - 1)) for values in random order.
"""

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from blinkspan.errors import BadSample
from blinkspan.quantities import Estimate
from blinkspan.study.phrases import plain_estimate, scaled
from blinkspan.study.smoothing import Numbers, checked

FEWEST_PRESSES = 8  # below this no order could be told from chance
_MOST_IN_PAIRS = 256


@dataclass(frozen=True, slots=True)
class Drift:
    """A steady change over a session.

    Attributes
    ----------
    per_press : Estimate
        The median slope, in the values' unit a press.
    over_session : Estimate
        The same from the first press to the last.
    p : float
        Two-sided, of no trend (Kendall's test, ties allowed for, normal approximation).
    """

    per_press: Estimate
    over_session: Estimate
    p: float

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return {
            "per_press_ms": plain_estimate(self.per_press),
            "over_session_ms": plain_estimate(self.over_session),
            "p": self.p,
        }


@dataclass(frozen=True, slots=True)
class Autocorrelation:
    """How far each press resembles the one before.

    Attributes
    ----------
    lag_1 : float
        -1 to 1; about 0 for presses that know nothing of each other.
    p : float
        Two-sided, of values in random order (normal approximation).
    worth : float
        How many independent presses the n are worth for a mean: n (1 - r) / (1 + r)
        for r above 0, else n.
    """

    lag_1: float
    p: float
    worth: float

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return asdict(self)


def drift(values: npt.ArrayLike, level: float = 0.95) -> Drift | None:
    """Return the steady change of values in the order given; None below 8 or if all are equal.

    Notes
    -----
    Above 256 values the means of at most so many runs of equal length stand for them; the
    few values left over at the end are not used. Time and memory are O(n²) up to there.
    """
    x, _ = checked(values, 0.0)
    n = x.size
    run = -(-n // _MOST_IN_PAIRS)
    means = x[: n - n % run].reshape(-1, run).mean(axis=1)
    if n < FEWEST_PRESSES or np.ptp(means) == 0.0:
        return None
    slope, rising = theil_sen(np.arange(means.size, dtype=float) * run, means, level)
    # One pair turned changes the count by 2: half of it is Kendall's continuity correction.
    beyond = max(abs(rising) - 1.0, 0.0) / math.sqrt(_rising_variance(means))
    return Drift(slope, scaled(slope, n - 1.0), min(1.0, 2.0 * float(ndtr(-beyond))))


def theil_sen(at: Numbers, values: Numbers, level: float = 0.95) -> tuple[Estimate, float]:
    """Return the median of all slopes with Sen's interval, and rising less falling pairs.

    Pairs at the same place have no slope and are left out.

    Raises
    ------
    BadSample
        All places are the same.
    """
    lags = range(1, at.size)
    run = np.concatenate([at[lag:] - at[:-lag] for lag in lags])
    rise = np.concatenate([values[lag:] - values[:-lag] for lag in lags])
    if not run.all():
        rise, run = rise[run != 0.0], run[run != 0.0]
    if run.size == 0:
        raise BadSample("all values lie at one place; a slope needs two places or more")
    slopes = rise / run
    rising = float(np.count_nonzero(slopes > 0.0) - np.count_nonzero(slopes < 0.0))
    z = float(ndtri(0.5 + level / 2.0))
    reach = z * math.sqrt(_rising_variance(values))
    # Sen's ends: the M-th slope from below and the (M + 1)-th from above, M = (N - C) / 2.
    below = min(max(int((slopes.size - reach) / 2.0) - 1, 0), slopes.size - 1)
    above = slopes.size - 1 - below
    middle = slopes.size // 2
    slopes.partition(sorted({below, above, middle, (slopes.size - 1) // 2}))
    median = 0.5 * float(slopes[middle] + slopes[(slopes.size - 1) // 2])
    estimate = Estimate(
        median, float(slopes[below]), float(slopes[above]), level, "Theil-Sen slope"
    )
    return estimate, rising


def autocorrelation(values: npt.ArrayLike) -> Autocorrelation | None:
    """Return the lag-1 autocorrelation; None below 8 values or if all are equal."""
    x, _ = checked(values, 0.0)
    n = x.size
    if n < FEWEST_PRESSES or np.ptp(x) == 0.0:
        return None
    r = lag_1(x)
    z = (r + 1.0 / (n - 1)) / ((n - 2) / (n * math.sqrt(n - 1.0)))
    return Autocorrelation(
        r, min(1.0, 2.0 * float(ndtr(-abs(z)))), n * (1.0 - r) / (1.0 + r) if r > 0 else float(n)
    )


def lag_1(values: Numbers) -> float:
    """Return the lag-1 autocorrelation by NIST's formula; values must not all be equal."""
    apart = values - values.mean()
    return float(apart[:-1] @ apart[1:]) / float(apart @ apart)


def _rising_variance(values: Numbers) -> float:
    """Variance of rising less falling pairs in random order, ties among the values allowed for."""
    n = values.size
    tied = np.unique(values, return_counts=True)[1].astype(float)
    total = n * (n - 1) * (2 * n + 5) - float((tied * (tied - 1) * (2 * tied + 5)).sum())
    return total / 18.0
