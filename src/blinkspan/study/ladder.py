"""Lay the frame-rate modes of one title on a line: a fixed part plus so many game frames.

A press waits half a game frame on average for the game to sample it, then k
frames in the queue; all else takes as long in every mode. The mean latency is
then ``fixed + (k + 1/2) * game-frame time``. Means are used, not medians: the
half frame is exact for the mean whatever else spreads the presses, and means
of a uniform wait scatter less. Two modes always lie on a line; from three on,
a mode that leaves the line shows.
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadSample
from blinkspan.quantities import Estimate
from blinkspan.study.modes import ModeSample, checked_modes
from blinkspan.study.phrases import scaled
from blinkspan.study.rungs import Ladder, Rung
from blinkspan.study.welch import welch_interval

Floats = npt.NDArray[np.float64]

_FEWEST_PRESSES = 3  # a spread of two presses says next to nothing
_SAME_FRAME = 1.02  # 59.94 and 60 fps are one rung, not two
_METHOD = "line through the modes' means, Welch interval"


def climb(samples: Sequence[ModeSample], *, shared_u_s: float = 0.0, level: float = 0.95) -> Ladder:
    """Return the fixed part and the queued frames of a title from two or more of its modes.

    Parameters
    ----------
    samples : sequence of ModeSample
        One a mode, in any order; at least 3 presses each.
    shared_u_s : float
        Standard uncertainty common to all modes: it widens the fixed part and
        cancels in the number of frames.

    Raises
    ------
    BadSample
        Fewer than two different game-frame times, or too few presses.

    Notes
    -----
    The weights of the line are n / frame², what uniform sampling makes the
    means worth, so that they do not hang on the spread that happened to be seen;
    the interval uses the spread that was. Where modes queue different numbers
    of frames the slope is no mode's number, and with two modes nothing shows it:
    a queue of 2 and 3 frames at 60 and 30 fps looks like 4 frames in both with a
    fixed part 33 ms shorter.

    Examples
    --------
    >>> u = np.full(4, 1e-3)
    >>> at_60 = ModeSample("60 fps", 1 / 60, np.array([0.060, 0.065, 0.070, 0.075]), u)
    >>> at_30 = ModeSample("30 fps", 1 / 30, np.array([0.095, 0.105, 0.115, 0.125]), u)
    >>> ladder = climb([at_60, at_30])
    >>> round(ladder.queued_frames.value, 2), round(ladder.fixed_ms.value, 1)
    (2.05, 25.0)
    """
    modes = checked_modes(samples, fewest_presses=_FEWEST_PRESSES)
    frame_s = np.array([mode.frame_s for mode in modes])
    if frame_s[-1] < _SAME_FRAME * frame_s[0]:
        raise BadSample(
            f"all modes have a game frame of about {1e3 * frame_s[0]:.2f} ms; "
            "a ladder needs two or more frame rates"
        )
    fixed, slope = line_weights(frame_s, _worth(modes))
    queued = _queued(slope, modes, level)
    whole = _whole_frames(queued)
    return Ladder(
        rungs=tuple(_rung(modes, index, shared_u_s, level) for index in range(len(modes))),
        fixed_ms=scaled(_contrast(fixed, modes, shared_u_s, level), 1e3),
        queued_frames=queued,
        whole_frames=whole,
        nearly_whole=() if whole else _whole_frames(_queued(slope, modes, 1.0 - (1.0 - level) / 5)),
    )


def line_weights(x: Floats, worth: Floats) -> tuple[Floats, Floats]:
    """Return what to multiply y by to get the intercept and the slope of the weighted line.

    Examples
    --------
    >>> fixed, slope = line_weights(np.array([1.0, 2.0, 3.0]), np.ones(3))
    >>> float(slope @ np.array([5.0, 7.0, 9.0])), round(float(fixed @ np.array([5.0, 7.0, 9.0])), 9)
    (2.0, 3.0)
    """
    share = worth / worth.sum()
    middle = float(share @ x)
    slope: Floats = share * (x - middle) / float(share @ (x - middle) ** 2)
    return share - middle * slope, slope


def _worth(modes: Sequence[ModeSample]) -> Floats:
    return np.array([mode.n / mode.frame_s**2 for mode in modes])


def _contrast(
    factors: Floats, modes: Sequence[ModeSample], shared_u_s: float, level: float
) -> Estimate:
    """Return the weighted sum of the modes' means with its Welch interval, in seconds.

    What all modes share enters with the sum of the factors: 0 in a slope.
    """
    own = float(np.sum((factors * np.array([mode.mode_u_s for mode in modes])) ** 2))
    return welch_interval(
        float(factors @ np.array([mode.mean_s for mode in modes])),
        [factor**2 * mode.mean_variance_s2 for factor, mode in zip(factors, modes, strict=True)],
        [mode.n - 1 for mode in modes],
        systematic_u=math.hypot(math.sqrt(own), float(factors.sum()) * shared_u_s),
        level=level,
        method=_METHOD,
    )


def _queued(slope: Floats, modes: Sequence[ModeSample], level: float) -> Estimate:
    """Return the slope less the half frame of waiting to be sampled."""
    frames = _contrast(slope, modes, 0.0, level)
    return Estimate(frames.value - 0.5, frames.low - 0.5, frames.high - 0.5, level, _METHOD)


def _whole_frames(queued: Estimate) -> tuple[int, ...]:
    return tuple(k for k in _whole_within(queued) if k >= 0)


def _rung(modes: tuple[ModeSample, ...], index: int, shared_u_s: float, level: float) -> Rung:
    mode = modes[index]
    alone = np.zeros(len(modes))
    alone[index] = 1.0
    off_ms, off_frames = None, None
    others = np.arange(len(modes)) != index
    frame_s = np.array([other.frame_s for other in modes])
    if len(modes) > 2 and frame_s[others].max() >= _SAME_FRAME * frame_s[others].min():
        fixed, slope = line_weights(frame_s[others], _worth(modes)[others])
        factors = alone.copy()
        factors[others] = -(fixed + mode.frame_s * slope)
        # three modes have one way to leave the line, so asking thrice is asking once
        asked = 1 if len(modes) == 3 else len(modes)
        off = _contrast(factors, modes, 0.0, 1.0 - (1.0 - level) / asked)
        off_ms, off_frames = scaled(off, 1e3), scaled(off, 1.0 / mode.frame_s)
    return Rung(
        name=mode.name,
        frame_ms=1e3 * mode.frame_s,
        n=mode.n,
        mean_ms=scaled(_contrast(alone, modes, shared_u_s, level), 1e3),
        off_line_ms=off_ms,
        off_line_frames=off_frames,
        whole_frames=tuple(k for k in _whole_within(off_frames) if k) if off_frames else (),
        others_hold=len(modes) <= 3 or _on_one_line(modes[:index] + modes[index + 1 :], level),
    )


def _on_one_line(modes: tuple[ModeSample, ...], level: float) -> bool:
    return not any(_rung(modes, index, 0.0, level).breaks for index in range(len(modes)))


def _whole_within(estimate: Estimate) -> range:
    return range(math.ceil(estimate.low), math.floor(estimate.high) + 1)
