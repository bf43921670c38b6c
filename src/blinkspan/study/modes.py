"""The presses of one title in one frame-rate mode, with what each mode shares and does not."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadSample, BadSetting
from blinkspan.study.welch import variance_of_mean

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ModeSample:
    """The accepted presses of one mode.

    Attributes
    ----------
    name : str
        As the reader is to see it, such as "60 fps".
    frame_s : float
        The mode's game-frame time.
    latency_s : ndarray of float64, shape (n,)
        Net latencies where the display's lag is known, spans otherwise.
    own_u_s : ndarray of float64, shape (n,)
        Standard uncertainty of each, without the parts that presses share.
    mode_u_s : float
        Standard uncertainty that all presses of this mode share and other modes do
        not, such as a display lag measured for this refresh rate alone. What all
        modes share is given beside the samples: it cancels between them.
    scanout_s : float
        From the start of a refresh to the response's row in this mode. It differs
        between refresh rates and would pass for part of a queued frame.
    """

    name: str
    frame_s: float
    latency_s: Floats
    own_u_s: Floats
    mode_u_s: float = 0.0
    scanout_s: float = 0.0

    def __post_init__(self) -> None:
        if not 0.0 < self.frame_s < math.inf:
            raise BadSetting(
                f"{self.name}: a game frame of {self.frame_s} s cannot be; give a time above zero"
            )
        if self.latency_s.ndim != 1 or self.latency_s.shape != self.own_u_s.shape:
            raise BadSample(
                f"{self.name}: latencies of shape {self.latency_s.shape} and uncertainties of "
                f"shape {self.own_u_s.shape}; give one of each a press"
            )
        if not (np.isfinite(self.latency_s).all() and np.isfinite(self.own_u_s).all()):
            raise BadSample(f"{self.name}: not every press has a finite latency; leave those out")
        for what in (self.mode_u_s, self.scanout_s, float(self.own_u_s.min(initial=0.0))):
            if not 0.0 <= what < math.inf:
                raise BadSetting(f"{self.name}: {what} s cannot be; give zero or more")

    @property
    def n(self) -> int:
        """The number of presses."""
        return self.latency_s.size

    @property
    def mean_s(self) -> float:
        """The mean latency less the scan-out, in seconds."""
        return float(self.latency_s.mean()) - self.scanout_s

    @property
    def mean_variance_s2(self) -> float:
        """The variance of the mean that more presses would reduce, in seconds squared."""
        return variance_of_mean(self.latency_s, self.own_u_s)


def checked_modes(samples: Sequence[ModeSample], *, fewest_presses: int) -> tuple[ModeSample, ...]:
    """Return the samples from the shortest game frame to the longest.

    Raises
    ------
    BadSample
        No sample, two of one name, or one with too few presses.
    """
    if not samples:
        raise BadSample("there is no mode to look at; give the presses of one or more")
    names = [sample.name for sample in samples]
    for name in names:
        if names.count(name) > 1:
            raise BadSample(f"two modes are named {name}; give each a name of its own")
    for sample in samples:
        if sample.n < fewest_presses:
            raise BadSample(
                f"{sample.name} has {sample.n} accepted presses; "
                f"film until there are at least {fewest_presses}"
            )
    return tuple(sorted(samples, key=lambda sample: sample.frame_s))
