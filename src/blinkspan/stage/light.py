"""Light gathered between two instants, in closed form.

Everything on the stage that changes with time is one of three shapes: steady,
switched on and off (`Pulse`), or decaying exponentially towards a new level.
Their integrals are exact, so a pixel whose exposure straddles a change holds
exactly the share of light that it should.
"""

from dataclasses import dataclass
from math import pi

import numpy as np
import numpy.typing as npt

Instants = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Pulse:
    """Light that is on for a part of every period, scaled so that its mean is 1.

    Attributes
    ----------
    period_s : float
    duty : float
        Share of the period that is lit, above 0 and at most 1.
    phase_s : float
        When one of the on-times starts.
    """

    period_s: float
    duty: float
    phase_s: float = 0.0


def lit(start_s: Instants, stop_s: Instants, pulse: Pulse | None) -> Instants:
    """Return the integral of steady or pulsed light of mean 1 between two instants.

    Examples
    --------
    >>> half = Pulse(period_s=0.01, duty=0.5)
    >>> lit(np.array([0.0]), np.array([0.0075]), half).round(6).tolist()  # 5 ms at twice the mean
    [0.01]
    """
    if pulse is None:
        return np.asarray(stop_s - start_s)
    return _lit_until(stop_s, pulse) - _lit_until(start_s, pulse)


def fading(
    start_s: Instants, stop_s: Instants, origin_s: Instants, tau_s: float, pulse: Pulse | None
) -> Instants:
    """Return the integral of light that is 1 at an origin and decays with a time constant.

    Parameters
    ----------
    start_s, stop_s : ndarray
        ``origin_s <= start_s <= stop_s``.
    tau_s : float
        Above 0.

    Notes
    -----
    Pulses between the two instants are summed as a geometric series, so the cost
    does not grow with the pulse rate.
    """
    now = np.exp(-(start_s - origin_s) / tau_s)
    span = stop_s - start_s
    if pulse is None:
        return np.asarray(-now * tau_s * np.expm1(-span / tau_s))
    period, on = pulse.period_s, pulse.duty * pulse.period_s
    into = np.mod(start_s - pulse.phase_s, period)
    rest_of_first = np.maximum(on - into, 0.0)
    first = -np.expm1(-np.minimum(span, rest_of_first) / tau_s)
    to_next = period - into
    beyond = np.maximum(span - to_next, 0.0)
    whole = np.floor(beyond / period)
    last = np.minimum(beyond - whole * period, on)
    series = np.expm1(-whole * period / tau_s) / np.expm1(-period / tau_s)
    further = -np.expm1(-on / tau_s) * series - np.exp(-whole * period / tau_s) * np.expm1(
        -last / tau_s
    )
    total = first + np.exp(-to_next / tau_s) * further
    return np.asarray(now * tau_s * total / pulse.duty)


def flicker(
    start_s: Instants, exposure_s: float, rate_hz: float, depth: float, phase: float
) -> Instants:
    """Return the mean of 1 + depth·cos(2π·rate·t + phase) over each exposure."""
    if depth == 0.0:
        return np.ones_like(start_s)
    middle = start_s + exposure_s / 2
    # the mean of a cosine over a window is the cosine at its middle, times sinc
    held = np.sinc(rate_hz * exposure_s)
    return np.asarray(1.0 + depth * held * np.cos(2 * pi * rate_hz * middle + phase))


def _lit_until(stop_s: Instants, pulse: Pulse) -> Instants:
    """Return the pulsed light gathered since the pulse's own phase."""
    since = stop_s - pulse.phase_s
    whole = np.floor(since / pulse.period_s)
    on = pulse.duty * pulse.period_s
    partial = np.minimum(since - whole * pulse.period_s, on)
    return np.asarray((whole * on + partial) / pulse.duty)
