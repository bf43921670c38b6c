"""Predict the whole distribution of a setup's latency by convolution on a fine grid.

Every law is put on the grid by hat weights: node j takes the integral of the
law times a triangle of one step to either side. The mean is then exact at any
step, and the variance is too large by no more than step ** 2 / 4 a law. The
integral is a second difference of G(x) = E[max(x - X, 0)], known in closed
form for a uniform, a normal and a fixed value alike, so even a noise far
narrower than the step is put on the grid correctly.

References
----------
JCGM 101:2008, 5.2: a sum of independent inputs has the convolution of their
distributions.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from blinkspan.errors import BadSetting
from blinkspan.study.pipeline import Pipeline

Floats = npt.NDArray[np.float64]

GRID_STEP_S = 0.05e-3  # a twentieth of the shortest usual poll
_LEAST_NOISE = 1e-3  # of a step; less changes no mass of the grid by one in a thousand
_NORMAL_REACH = 6.0  # in standard deviations; 2e-9 lies outside


@dataclass(frozen=True, slots=True)
class Distribution:
    """Probability on a regular grid of times.

    Attributes
    ----------
    start_s : float
        Time of the first node.
    step_s : float
    mass : ndarray of float64, shape (n,), sum 1
        Node j stands for a triangle of one step to either side of it.
    """

    start_s: float
    step_s: float
    mass: Floats

    @property
    def times_s(self) -> Floats:
        """The nodes' times in seconds, shape (n,)."""
        times: Floats = self.start_s + self.step_s * np.arange(self.mass.size, dtype=np.float64)
        return times

    @property
    def mean_s(self) -> float:
        """The mean, in seconds."""
        return float(self.mass @ self.times_s)

    @property
    def sd_s(self) -> float:
        """The standard deviation, in seconds."""
        away = self.times_s - self.mean_s
        return math.sqrt(float(self.mass @ away**2))

    def density(self, at_s: Floats) -> Floats:
        """Return the density per second at each time, any shape."""
        found: Floats = np.interp(at_s, self.times_s, self.mass / self.step_s, left=0.0, right=0.0)
        return found

    def chance_below(self, at_s: Floats) -> Floats:
        """Return the probability below each time, any shape."""
        below: Floats = np.interp(at_s, self.times_s, self._cumulated(), left=0.0, right=1.0)
        return below

    def quantile(self, share: Floats) -> Floats:
        """Return the time in seconds below which each share of the presses lies."""
        times: Floats = np.interp(share, self._cumulated(), self.times_s)
        return times

    def drawn(self, shape: int | tuple[int, ...], rng: np.random.Generator) -> Floats:
        """Return random latencies in seconds."""
        return self.quantile(rng.random(shape))

    def _cumulated(self) -> Floats:
        """Probability below each node; half a node's triangle lies to its left."""
        cumulated: Floats = np.cumsum(self.mass) - self.mass / 2.0
        return cumulated


def sum_of_waits(
    waits_s: Sequence[float], *, noise_s: float = 0.0, step_s: float = GRID_STEP_S
) -> Distribution:
    """Return the distribution of independent uniform waits, each from 0, with normal noise.

    Raises
    ------
    BadSetting
        A negative or infinite width, or no step.

    Examples
    --------
    >>> both = sum_of_waits([8e-3, 1 / 60])  # an 8 ms poll, then a 60 Hz tick
    >>> round(1e3 * both.mean_s, 3), round(1e3 * both.sd_s, 3)
    (12.333, 5.337)
    """
    if not step_s > 0.0:
        raise BadSetting(f"a grid step of {step_s} s cannot be; give one above zero")
    if any(not 0.0 <= width < math.inf for width in (*waits_s, noise_s)):
        raise BadSetting(f"waits of {list(waits_s)} s with noise {noise_s} s; give zero or more")
    total = _fixed(0.0, step_s)
    for width in waits_s:
        if width > 0.0:
            total = _convolved(total, _uniform(width, step_s))
    if noise_s < _LEAST_NOISE * step_s:
        return total
    return _convolved(total, _normal(noise_s, step_s))


def predicted(
    pipeline: Pipeline, *, noise_s: float = 0.0, step_s: float = GRID_STEP_S
) -> Distribution:
    """Return the distribution of the latency that a pipeline makes, measured with normal noise."""
    waits = sum_of_waits(pipeline.waits_s, noise_s=noise_s, step_s=step_s)
    frame_s, late = pipeline.game_frame_s, pipeline.late_share
    if late > 0.0:
        soon, then = _fixed(0.0, step_s), _fixed(frame_s, step_s)
        mass = late * then.mass
        mass[0] += (1.0 - late) * soon.mass[0]
        waits = _convolved(waits, Distribution(0.0, step_s, mass))
    fixed_s = pipeline.system_s + pipeline.queued_frames * frame_s
    fixed_s += pipeline.scanout_s + pipeline.panel_s
    return Distribution(waits.start_s + fixed_s, step_s, waits.mass)


def _uniform(width: float, step: float) -> Distribution:
    """Return a uniform on [0, width]; G is x² / 2w inside and x - w / 2 beyond."""

    def excess(x: Floats) -> Floats:
        inside = np.clip(x, 0.0, width)
        return inside**2 / (2.0 * width) + np.maximum(x - width, 0.0)

    return _on_grid(excess, 0, math.ceil(width / step), step)


def _normal(sd: float, step: float) -> Distribution:
    """Return a normal about 0; G is x Φ(x / sd) + sd φ(x / sd)."""

    def excess(x: Floats) -> Floats:
        z = x / sd
        g: Floats = x * ndtr(z) + sd * np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi)
        return g

    reach = math.ceil(_NORMAL_REACH * sd / step) + 1
    return _on_grid(excess, -reach, reach, step)


def _fixed(at: float, step: float) -> Distribution:
    """Return all the chance at one time, shared by the two nodes about it."""
    return _on_grid(lambda x: np.maximum(x - at, 0.0), 0, math.ceil(at / step), step)


def _on_grid(
    excess: Callable[[Floats], Floats], first: int, last: int, step: float
) -> Distribution:
    """Return the hat-weighted law on nodes first to last, by second differences of its G."""
    g = excess(step * np.arange(first - 1, last + 2, dtype=np.float64))
    mass = np.maximum(np.diff(g, 2) / step, 0.0)  # rounding alone makes it negative
    return Distribution(first * step, step, mass / mass.sum())


def _convolved(first: Distribution, second: Distribution) -> Distribution:
    """Return the law of the sum of two independent times on grids of one step."""
    mass = np.convolve(first.mass, second.mass)
    return Distribution(first.start_s + second.start_s, first.step_s, mass)
