"""How much longer a title takes than the system's own menu, filmed on the same gear.

The menu answers through the same control, link, system and panel, so their
share of the time cancels, and with it what is not known of the display. What
is left is the title's own: its frames queued beyond the menu's and its longer
wait to be sampled.
"""

import math
from dataclasses import dataclass
from typing import Any

from blinkspan.quantities import Estimate
from blinkspan.study.modes import ModeSample, checked_modes
from blinkspan.study.phrases import plain_estimate, scaled, told, turned
from blinkspan.study.welch import welch_interval

_METHOD = "difference of means, Welch interval"


@dataclass(frozen=True, slots=True)
class AboveBaseline:
    """A title's mean latency less the menu's.

    Attributes
    ----------
    above_ms, above_frames : Estimate
        In milliseconds, and in game frames of the title.
    sampling_ms : float
        The part that is only a longer mean wait to be sampled: half the
        difference of the game-frame times.
    """

    title: str
    baseline: str
    above_ms: Estimate
    above_frames: Estimate
    sampling_ms: float

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return {
            "title": self.title,
            "baseline": self.baseline,
            "above_ms": plain_estimate(self.above_ms),
            "above_frames": plain_estimate(self.above_frames),
            "sampling_ms": self.sampling_ms,
        }

    def __str__(self) -> str:
        """Return the difference in one or two plain sentences."""
        if self.above_ms.low <= 0.0 <= self.above_ms.high:
            return (
                f"{self.title} is not shown to differ from {self.baseline}: "
                f"{told(self.above_ms, 'ms')} above it."
            )
        way, ms, frames = "more", self.above_ms, self.above_frames
        if self.above_ms.value < 0.0:
            way, ms, frames = "less", turned(ms), turned(frames)
        said = f"{self.title} takes {told(ms, 'ms')} {way} than {self.baseline}, "
        said += f"{told(frames)} of its game frames."
        if abs(self.sampling_ms) < 0.05:
            return said
        longer = "longer" if self.sampling_ms > 0.0 else "shorter"
        return f"{said} Its wait to be sampled is {abs(self.sampling_ms):.1f} ms {longer}."


def above_baseline(
    title: ModeSample, baseline: ModeSample, *, level: float = 0.95
) -> AboveBaseline:
    """Return how far a title's mode lies above the menu, each less its own scan-out.

    What both share is left out of ``mode_u_s`` by the caller: it cancels.

    Raises
    ------
    BadSample
        Fewer than 3 presses on a side, or both of one name.
    """
    checked_modes([title, baseline], fewest_presses=3)
    above = welch_interval(
        title.mean_s - baseline.mean_s,
        [title.mean_variance_s2, baseline.mean_variance_s2],
        [title.n - 1, baseline.n - 1],
        systematic_u=math.hypot(title.mode_u_s, baseline.mode_u_s),
        level=level,
        method=_METHOD,
    )
    return AboveBaseline(
        title=title.name,
        baseline=baseline.name,
        above_ms=scaled(above, 1e3),
        above_frames=scaled(above, 1.0 / title.frame_s),
        sampling_ms=1e3 * (title.frame_s - baseline.frame_s) / 2.0,
    )
