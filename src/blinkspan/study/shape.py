"""The shape of a setup's presses: outliers named, two modes told, the spread without its ends.

References
----------
B. Iglewicz and D. C. Hoaglin, "How to Detect and Handle Outliers" (1993): 3.5 robust
standard deviations from the median (recalled, and common practice).
W. D. Fisher, "On grouping for maximum homogeneity", JASA 53 (1958) 789-798: the parting
of a sorted sample into groups of least spread.
H. A. David and H. N. Nagaraja, "Order Statistics" (2003), 2.3: the range of n uniform
draws follows a beta distribution with n - 1 and 2.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from blinkspan.study.dip import dip, dip_p
from blinkspan.study.smoothing import Numbers, checked

FEWEST_FOR_MODES = 10
_FEWEST_FOR_OUTLIERS = 5
_FAR = 3.5
_MAD_TO_SD = 1.482602218505602  # 1 / normal quantile of 0.75
_QUARTILES_TO_SD = _MAD_TO_SD / 2.0
_MODES_P = 0.01
_TRIM = 0.10  # off either end


@dataclass(frozen=True, slots=True)
class Outlier:
    """A press far from the median. It is named, and stays in every other number.

    Attributes
    ----------
    press : int
        Its number in the take.
    from_median_ms : float
        Above zero where it is later than the median.
    """

    press: int
    value_ms: float
    from_median_ms: float

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class TwoModes:
    """Two heaps of presses with fewer between them than one heap would have.

    Attributes
    ----------
    p : float
        Of so deep a dip if the presses were spread evenly (Hartigan).
    lower_ms, upper_ms : float
        Median of each heap, with ``lower_n`` and ``upper_n`` presses.
    """

    p: float
    lower_ms: float
    upper_ms: float
    lower_n: int
    upper_n: int

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return asdict(self)


def outliers(
    values_ms: npt.ArrayLike, u_ms: npt.ArrayLike, presses: Sequence[int]
) -> tuple[Outlier, ...]:
    """Return the presses more than 3.5 robust standard deviations from the median.

    The robust deviation is the larger of the median absolute one and the reach of the
    quartiles, both scaled to a normal's: where more than a quarter of the presses lie to
    one side they are the setup's shape and no outliers. It is at least the root mean
    square of the presses' own uncertainties, so that ties do not make every other press
    an outlier. Below 5 presses none is named.
    """
    x, u = checked(values_ms, u_ms)
    if x.size < _FEWEST_FOR_OUTLIERS:
        return ()
    median = float(np.median(x))
    mad = _MAD_TO_SD * float(np.median(np.abs(x - median)))
    lower, upper = np.quantile(x, (0.25, 0.75)).tolist()
    scale = max(mad, _QUARTILES_TO_SD * (upper - lower), float(np.sqrt(np.mean(u**2))))
    far = np.abs(x - median) > _FAR * scale
    return tuple(
        Outlier(presses[i], float(x[i]), float(x[i] - median)) for i in np.flatnonzero(far).tolist()
    )


def two_modes(values_ms: npt.ArrayLike) -> TwoModes | None:
    """Return the two heaps the values fall into; None where one heap explains them.

    It is told at p of 0.01 and below, from 10 values on.
    """
    x, _ = checked(values_ms, 0.0)
    if x.size < FEWEST_FOR_MODES:
        return None
    p = dip_p(dip(x), x.size)
    if p > _MODES_P:
        return None
    ordered = np.sort(x)
    at = _best_parting(ordered)
    return TwoModes(
        p,
        float(np.median(ordered[:at])),
        float(np.median(ordered[at:])),
        at,
        x.size - at,
    )


def trimmed_spread(values_ms: npt.ArrayLike) -> float:
    """Return the width of the middle 80 % of the values.

    Examples
    --------
    >>> trimmed_spread(range(11))
    8.0
    """
    low, high = np.quantile(checked(values_ms, 0.0)[0], [_TRIM, 1.0 - _TRIM]).tolist()
    return float(high - low)


def chance_of_reach(values_ms: npt.ArrayLike, frame_ms: float) -> float:
    """Return the chance of so small a reach if the presses waited evenly for a game frame.

    The reach is high less low. Doubt of measuring and all else that differs from press to
    press only widen it, so that a small chance means presses in step with the picture, or
    a game that reads its controls more often than it draws.

    Examples
    --------
    >>> round(chance_of_reach([60.0, 61.0, 62.0, 64.0], 16.0), 4)
    0.0508
    """
    x, _ = checked(values_ms, 0.0)
    n = x.size
    share = float(np.ptp(x)) / frame_ms
    if n < 2 or share >= 1.0:
        return 1.0
    return n * share ** (n - 1) - (n - 1) * share**n


def _best_parting(ordered: Numbers) -> int:
    """How many of the sorted values belong to the lower of the two closest groups."""
    n = ordered.size
    first = np.arange(1, n)
    sums = np.cumsum(ordered - ordered.mean())[:-1]
    between = sums**2 * n / (first * (n - first))
    return int(between.argmax()) + 1
