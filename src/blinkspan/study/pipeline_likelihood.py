"""How well each number of queued frames and each fixed part explain one mode's presses.

A press of a mode with game-frame time T is taken to be a fixed part, k * T, a
wait uniform over T, the waits of control and link, and its own measurement
noise; with some chance it came one frame later. A few presses in a thousand
may be anything: without that, one stray press would outvote all others.
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from blinkspan.study.modes import ModeSample
from blinkspan.study.pipeline_distribution import Distribution, sum_of_waits

Floats = npt.NDArray[np.float64]

# Shares of late presses tried. 0 is a queue that never changes; above one half the
# late frames are the rule, which is the next k with early ones.
LATE_SHARES = np.array([0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5])

_STRAY_SHARE = 0.003
_STRAY_RANGE_S = 0.5  # a stray press lies anywhere in half a second
_BLOCK = 32  # presses multiplied before a logarithm is taken: 1e-71 to 1e140 at worst
_REACH = 6.0  # standard uncertainties
_NOISE_RATIO = 1.05  # noises within this ratio share one distribution
_LEAST_NOISE_S = 0.02e-3  # below the grid's step nothing would change


def log_likelihood(
    sample: ModeSample, waits_s: Sequence[float], fixed_s: Floats, most_frames: int
) -> Floats:
    """Return the log-likelihood by share of late presses, queued frames and fixed part.

    Parameters
    ----------
    sample : ModeSample
        Its scan-out is taken off; its ``mode_u_s`` is left to the caller.
    waits_s : sequence of float
        Periods of control scan, link poll and free refresh, those above zero.
    fixed_s : ndarray, shape (f,)
    most_frames : int

    Returns
    -------
    ndarray, shape (len(LATE_SHARES), most_frames + 1, f)

    Notes
    -----
    Cost is O(presses * frames * f) densities.
    """
    laws = _laws(sample, waits_s)
    seen = sample.latency_s - sample.scanout_s
    stray = _STRAY_SHARE / _STRAY_RANGE_S
    late = LATE_SHARES[:, None, None]
    # where more than half the presses are strays no answer lies; not worth working out
    found = np.full((LATE_SHARES.size, most_frames + 1, fixed_s.size), sample.n * math.log(stray))
    middle, reach = float(np.median(seen)), _REACH * float(sample.own_u_s.max())
    longest = 2.0 * sample.frame_s + sum(waits_s) + reach
    for k in range(most_frames + 1):
        left = middle - k * sample.frame_s - fixed_s
        near = np.flatnonzero((left > -reach) & (left < longest))
        if near.size == 0:
            continue
        in_time = _densities(laws, seen, fixed_s[near] + k * sample.frame_s)
        one_late = _densities(laws, seen, fixed_s[near] + (k + 1) * sample.frame_s)
        mixed = (1.0 - late) * in_time + late * one_late
        each = (1.0 - _STRAY_SHARE) * mixed + stray
        blocks = np.multiply.reduceat(each, np.arange(0, sample.n, _BLOCK), axis=2)
        found[:, k, near] = np.log(blocks).sum(axis=2)
    return found


def half_stray(sample: ModeSample) -> float:
    """Return the log-likelihood of presses half of which are strays and half of which fit.

    What explains the presses no better than this does not explain them.
    """
    fits, strays = -math.log(sample.frame_s), math.log(_STRAY_SHARE / _STRAY_RANGE_S)
    return sample.n * (fits + strays) / 2.0


def _laws(
    sample: ModeSample, waits_s: Sequence[float]
) -> list[tuple[Distribution, npt.NDArray[np.intp]]]:
    """Return one distribution of waits for each level of noise, with the presses it serves."""
    noise = np.maximum(sample.own_u_s, _LEAST_NOISE_S)
    steps = np.round(np.log(noise) / math.log(_NOISE_RATIO))
    waits = [*waits_s, sample.frame_s]
    served = [np.flatnonzero(steps == step) for step in np.unique(steps)]
    return [
        (sum_of_waits(waits, noise_s=float(noise[presses].mean())), presses) for presses in served
    ]


def _densities(
    laws: list[tuple[Distribution, npt.NDArray[np.intp]]], seen_s: Floats, fixed_s: Floats
) -> Floats:
    """Return the density of each press for each fixed time, shape (fixed, presses)."""
    found = np.empty((fixed_s.size, seen_s.size))
    for law, presses in laws:
        found[:, presses] = law.density(seen_s[presses] - fixed_s[:, None])
    return found
