"""What is held of queued frames, fixed part and late frames before any press is looked at."""

import itertools
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadSetting
from blinkspan.quantities import Measured

Floats = npt.NDArray[np.float64]

FIXED_STEP_S = 0.2e-3  # finer than a fixed part is ever known, systematic parts included


@dataclass(frozen=True, slots=True)
class QueuePrior:
    """What is held before the presses are looked at.

    Attributes
    ----------
    most_frames : int
        Every number of queued frames from 0 to this is as probable.
    fixed_s : Measured | None
        The fixed part as known from elsewhere, such as the same platform's own
        menu, taken as normal; None where only its bounds are.
    least_fixed_s, most_fixed_s : float
        Bounds of the fixed part: control, system and panel with the lag not taken off.
    same_queue : float
        Chance that a mode queues as many frames as the title's others do; a judgement
        (no published count is known), mild enough that two modes alone are never told
        for sure by it: presses fit unlike queues as well. A frame
        more or fewer shares four fifths of the rest, two frames one fifth.
    steady : float
        Chance that no press of a mode is answered a frame late.
    """

    most_frames: int = 8
    fixed_s: Measured | None = None
    least_fixed_s: float = 0.0
    most_fixed_s: float = 0.15
    same_queue: float = 0.7
    steady: float = 0.5

    def __post_init__(self) -> None:
        if not 0 <= self.most_frames <= 30:
            raise BadSetting(f"at most {self.most_frames} queued frames; give 0 to 30")
        if not 0.0 <= self.least_fixed_s < self.most_fixed_s <= 1.0:
            raise BadSetting(
                f"a fixed part from {self.least_fixed_s} to {self.most_fixed_s} s; "
                "give bounds from 0 to 1 s, the lower first"
            )
        if self.fixed_s is not None and not (self.fixed_s.value >= 0.0 and self.fixed_s.u > 0.0):
            raise BadSetting(
                f"a fixed part of {self.fixed_s.value} s with u {self.fixed_s.u} s; "
                "give zero or more, and an uncertainty above zero"
            )
        for name in ("same_queue", "steady"):
            if not 0.0 < getattr(self, name) <= 1.0:
                raise BadSetting(f"{name} is {getattr(self, name)}; give a chance up to 1")

    def fixed_grid(self) -> Floats:
        """Return the fixed parts tried, in seconds, on a regular grid."""
        least, most = self.least_fixed_s, self.most_fixed_s
        if self.fixed_s is not None:
            reach = 5.0 * self.fixed_s.u
            least = max(self.fixed_s.value - reach, 0.0)
            most = self.fixed_s.value + reach
        steps = np.arange(math.ceil((most - least) / FIXED_STEP_S) + 1, dtype=np.float64)
        grid: Floats = least + FIXED_STEP_S * steps
        return grid

    def log_fixed(self, fixed_s: Floats, shared_u_s: float) -> Floats:
        """Return the log prior of the fixed part as the presses see it, up to a constant."""
        if self.fixed_s is None:
            return np.zeros_like(fixed_s)
        u = math.hypot(self.fixed_s.u, shared_u_s)
        known: Floats = -0.5 * ((fixed_s - self.fixed_s.value) / u) ** 2
        return known


def queues_of(modes: int, prior: QueuePrior) -> tuple[npt.NDArray[np.intp], Floats]:
    """Return each possible set of queued frames, shape (sets, modes), and its log prior.

    A title has a common number; each mode keeps it or strays from it by a frame
    or two. The common number may lie outside the range, so that no edge is special.
    """
    rest = 1.0 - prior.same_queue
    share = {0: prior.same_queue, 1: 0.4 * rest, -1: 0.4 * rest, 2: 0.1 * rest, -2: 0.1 * rest}
    chance: dict[tuple[int, ...], float] = {}
    for common in range(-2, prior.most_frames + 3):
        for strays in itertools.product(share, repeat=modes):
            queue = tuple(common + stray for stray in strays)
            if min(queue) >= 0 and max(queue) <= prior.most_frames:
                by = math.prod(share[stray] for stray in strays)
                chance[queue] = chance.get(queue, 0.0) + by
    possible = {queue: by for queue, by in chance.items() if by > 0.0}
    return np.array(list(possible)), np.log(np.array(list(possible.values())))


def log_late_shares(steady: float, shares: int) -> Floats:
    """Return the log prior of each share of late presses, the first of them none."""
    late = np.full(shares, (1.0 - steady) / (shares - 1))
    late[0] = steady
    # a prior that holds every mode steady gives the others no chance at all
    log_late: Floats = np.log(np.maximum(late, 1e-300))
    return log_late
