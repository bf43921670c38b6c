"""Where simulated presses come from: a pilot's presses or a given distribution.

References
----------
B. W. Silverman and G. A. Young, "The bootstrap: to smooth or not to smooth?",
Biometrika 74 (1987) 469-479: the smoothed bootstrap shrunk to the sample's spread.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadSetting
from blinkspan.study.smoothing import REACH, Numbers, checked

Draw = Callable[[np.random.Generator, int], Numbers]

_SAME_STEP = 1e-3  # of a step: how far a gap may lie from a whole number of steps


@dataclass(frozen=True, slots=True)
class Population:
    """Presses as they would be measured.

    Attributes
    ----------
    draw : callable
        From a Generator and a number n to n independent values.
    u : float
        Standard uncertainty that each of them would be stated with.
    """

    draw: Draw
    u: float

    def shifted(self, by: float) -> "Population":
        """Return the same presses, all of them later by ``by``."""
        return Population(lambda rng, n: self.draw(rng, n) + by, self.u)


def from_pilot(values: npt.ArrayLike, u: npt.ArrayLike) -> Population:
    """Return presses like the pilot's, in median, spread and ties.

    Values on a grid of whole steps are drawn as they are. Others are spread over
    their uncertainty and drawn together again to the pilot's own spread, so that a
    short pilot does not repeat itself; where all are equal, to their uncertainty.

    Raises
    ------
    BadSample
        No value, one that is not finite, or a negative uncertainty.
    """
    x, s = checked(values, u)
    mean_u = math.sqrt(float(np.mean(s**2)))
    if tie_step(x) is not None:
        return Population(lambda rng, n: rng.choice(x, n), mean_u)
    centre = float(x.mean())
    wanted = max(float(x.var(ddof=1)) if x.size > 1 else 0.0, mean_u**2)
    drawn = float(x.var()) + float(np.mean((REACH * s) ** 2)) / 3.0
    factor = math.sqrt(wanted / drawn) if drawn > 0.0 else 0.0

    def draw(rng: np.random.Generator, n: int) -> Numbers:
        chosen = rng.integers(x.size, size=n)
        spread = rng.uniform(-1.0, 1.0, n) * REACH * s[chosen]
        drawn: Numbers = centre + factor * (x[chosen] + spread - centre)
        return drawn

    return Population(draw, mean_u)


def counted(true: Draw, rate_hz: float) -> Population:
    """Return presses measured in ms by counting whole frames of a camera at random phase.

    Parameters
    ----------
    true : callable
        Draws true spans in ms.
    rate_hz : float
        The camera's frames a second. The stated uncertainty is T/√6 (JCGM 100, 4.3.9).
    """
    if not 0.0 < rate_hz < math.inf:
        raise BadSetting(f"a rate of {rate_hz:g} Hz cannot be; give one above zero")
    frame = 1000.0 / rate_hz

    def draw(rng: np.random.Generator, n: int) -> Numbers:
        lamp = rng.uniform(0.0, frame, n)
        counts: Numbers = frame * np.floor((lamp + true(rng, n)) / frame)
        return counts

    return Population(draw, frame / REACH)


def measured(true: Draw, u: float) -> Population:
    """Return presses measured with a normal error of standard uncertainty ``u``."""
    return Population(lambda rng, n: true(rng, n) + rng.normal(0.0, u, n), u)


def true_like(values: npt.ArrayLike, u: npt.ArrayLike) -> Draw:
    """Return draws of true values like those behind a pilot: its spread less that of measuring."""
    x, s = checked(values, u)
    centre = float(x.mean())
    seen = float(x.var(ddof=1)) if x.size > 1 else 0.0
    kept = math.sqrt(max(seen - float(np.mean(s**2)), 0.0) / seen) if seen > 0.0 else 0.0
    like = from_pilot(x, s).draw
    return lambda rng, n: centre + kept * (like(rng, n) - centre)


def tie_step(values: Numbers) -> float | None:
    """Return the step of which all gaps are whole numbers, where values tie; else None.

    Examples
    --------
    >>> tie_step(np.array([50.0, 54.0, 54.0, 62.0])), tie_step(np.array([50.0, 54.0, 55.1]))
    (4.0, None)
    """
    distinct = np.unique(values)
    if distinct.size == values.size or distinct.size < 2:
        return None
    gaps = np.diff(distinct)
    step = float(gaps.min())
    off = np.abs(gaps / step - np.rint(gaps / step))
    return step if bool((off <= _SAME_STEP).all()) else None
