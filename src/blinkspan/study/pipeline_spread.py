"""Hold a mode's spread against what sampling alone makes, and say what more there must be.

Presses at random times wait a uniform share of every period on their way; that
and the measurement's own noise is all the spread a steady pipeline has. The
standard deviation seen is compared with those of simulated sets of as many
presses, so the answer is exact for small samples.

References
----------
A. C. Davison and D. V. Hinkley, "Bootstrap Methods and their Application"
(1997), 4.2: a Monte Carlo p value is (1 + as extreme) / (1 + simulated).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadSetting
from blinkspan.study.modes import ModeSample, checked_modes
from blinkspan.study.pipeline_distribution import sum_of_waits

Floats = npt.NDArray[np.float64]

_SIMULATED = 4000  # a p value of 0.025 is then known to ± 0.0025
_ALARM = 0.025  # on either side: one steady mode in twenty is called so by chance


_DOUBTFUL = "The queue and the fixed part are then not to be relied on."


@dataclass(frozen=True, slots=True)
class SpreadCheck:
    """One mode's standard deviation beside what its waits and noise alone make.

    Attributes
    ----------
    seen_ms, expected_ms : float
        ``expected_ms`` for the link that spreads the most, where several are possible.
    p_wider, p_narrower : float
        Chance that a steady pipeline spreads as much, or as little, as seen; each
        for the possible link that makes it the most probable.
    late_share : float | None
        The share of late presses tried as an explanation; None where none was.
    p_wider_if_late : float | None
        Chance of as much spread with that share of presses a game frame late.
    """

    name: str
    n: int
    seen_ms: float
    expected_ms: float
    p_wider: float
    p_narrower: float
    late_share: float | None
    p_wider_if_late: float | None

    @property
    def wider(self) -> bool:
        """Whether the presses spread more than sampling alone makes."""
        return self.p_wider <= _ALARM

    @property
    def narrower(self) -> bool:
        """Whether the presses spread less than random presses can."""
        return self.p_narrower <= _ALARM

    @property
    def excess_ms(self) -> float | None:
        """The further standard deviation that would make up the spread; None if not wider."""
        if not self.wider:
            return None
        return math.sqrt(self.seen_ms**2 - self.expected_ms**2)

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return {
            "name": self.name,
            "n": self.n,
            "seen_ms": self.seen_ms,
            "expected_ms": self.expected_ms,
            "p_wider": self.p_wider,
            "p_narrower": self.p_narrower,
            "wider": self.wider,
            "narrower": self.narrower,
            "excess_ms": self.excess_ms,
            "late_share": self.late_share,
            "p_wider_if_late": self.p_wider_if_late,
        }

    def __str__(self) -> str:
        """Return the comparison in one or two plain sentences."""
        seen = f"{self.name}: the presses spread by {self.seen_ms:.1f} ms"
        expected = f"{self.expected_ms:.1f} ms that sampling and measuring alone make"
        if self.narrower:
            return (
                f"{seen}, less than the {expected} (p = {self.p_narrower:.4f}): they were not at "
                "random times against the game's frames, or the game samples more often."
            )
        if not self.wider:
            return (
                f"{seen} and sampling and measuring alone make {self.expected_ms:.1f} ms: no sign "
                f"of anything more (p = {self.p_wider:.2f})."
            )
        said = f"{seen}, more than the {expected} (p = {self.p_wider:.4f})."
        if self.late_share is None or self.p_wider_if_late is None:
            return f"{said} {_DOUBTFUL}"
        share = f"{100 * self.late_share:.0f} % of presses a game frame late"
        if self.p_wider_if_late > _ALARM:
            return f"{said} A queue that changes or drops frames, {share}, would explain it."
        return (
            f"{said} Not even {share} would explain it: something else varies as well. {_DOUBTFUL}"
        )


def check_spread(
    sample: ModeSample,
    links_s: Sequence[tuple[float, ...]],
    rng: np.random.Generator,
    *,
    late_share: float | None = None,
) -> SpreadCheck:
    """Return whether a mode's presses spread as waits and noise alone make them.

    Parameters
    ----------
    sample : ModeSample
        At least 3 presses.
    links_s : sequence of tuples of float
        Possible sets of waits beside the game's own, in seconds.
    late_share : float | None
        A share of presses a game frame late, to try as an explanation of more spread.

    Raises
    ------
    BadSample
        Too few presses.
    BadSetting
        No set of waits, or a share outside 0 to 1.
    """
    (sample,) = checked_modes([sample], fewest_presses=3)
    if not links_s:
        raise BadSetting("no set of waits was given; give one, empty if there are none")
    if late_share is not None and not 0.0 <= late_share <= 1.0:
        raise BadSetting(f"a late share of {late_share}; give a share from 0 to 1")
    seen = float(sample.latency_s.std(ddof=1))
    noise_s2 = float(np.mean(sample.own_u_s**2))
    wider, narrower, if_late, expected = 0.0, 0.0, 0.0, 0.0
    for waits_s in links_s:
        law = sum_of_waits([*waits_s, sample.frame_s])
        drawn = law.drawn((_SIMULATED, sample.n), rng)
        drawn += sample.own_u_s * rng.standard_normal(drawn.shape)
        wider = max(wider, _share_of(drawn.std(axis=1, ddof=1) >= seen))
        narrower = max(narrower, _share_of(drawn.std(axis=1, ddof=1) <= seen))
        expected = max(expected, math.sqrt(law.sd_s**2 + noise_s2))
        if late_share is not None:
            late = drawn + sample.frame_s * (rng.random(drawn.shape) < late_share)
            if_late = max(if_late, _share_of(late.std(axis=1, ddof=1) >= seen))
    return SpreadCheck(
        name=sample.name,
        n=sample.n,
        seen_ms=1e3 * seen,
        expected_ms=1e3 * expected,
        p_wider=wider,
        p_narrower=narrower,
        late_share=late_share,
        p_wider_if_late=None if late_share is None else if_late,
    )


def _share_of(as_extreme: npt.NDArray[np.bool_]) -> float:
    return (1.0 + float(np.count_nonzero(as_extreme))) / (1.0 + as_extreme.size)
