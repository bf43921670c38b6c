"""An interval for a weighted sum of means whose groups spread differently.

References
----------
B. L. Welch, "The generalization of Student's problem when several different
population variances are involved", Biometrika 34 (1947) 28-35.
JCGM 100:2008, G.4: effective degrees of freedom of a combined uncertainty; a
systematic part is taken to be known with no end of them.
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from blinkspan.quantities import Estimate

Floats = npt.NDArray[np.float64]


def variance_of_mean(values: Floats, own_u: Floats) -> float:
    """Return the variance of a group's mean, in the values' unit squared.

    The measurement's own uncertainty is part of the spread seen and its least:
    frame counts that all tie are not known without doubt. At least 2 values.
    """
    seen = float(values.var(ddof=1))
    return max(seen, float(np.mean(own_u**2))) / values.size


def welch_interval(
    value: float,
    variances: Sequence[float],
    freedom: Sequence[int],
    *,
    systematic_u: float = 0.0,
    level: float = 0.95,
    method: str,
) -> Estimate:
    """Return the estimate of a sum whose independent parts have these variances.

    Parameters
    ----------
    value : float
        The sum itself.
    variances : sequence of float
        Of each part, its weight squared already in it.
    freedom : sequence of int
        Degrees of freedom behind each variance.
    systematic_u : float
        Standard uncertainty of the sum that no number of presses reduces.

    Examples
    --------
    >>> got = welch_interval(-1.58, [0.3200556, 0.4009], [9, 9], method="Welch")
    >>> f"{got.low:.3f} to {got.high:.3f}"
    '-3.365 to 0.205'
    """
    parts = np.array(variances)
    total = float(parts.sum()) + systematic_u**2
    doubt = float(np.sum(parts**2 / np.array(freedom)))
    effective = total**2 / doubt if doubt > 0.0 else math.inf
    reach = float(stdtrit(effective, 0.5 + level / 2.0)) * math.sqrt(total)
    return Estimate(value, value - reach, value + reach, level, method)
