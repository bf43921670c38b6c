"""Say where the time of one press goes, stage by stage, from the control to the panel.

The control is scanned, the link is polled, the system takes a fixed time, the
game samples at its next frame, the answering frame waits behind ``k`` queued
ones, the panel scans out to the row and answers. Every periodic stage makes
the press wait a uniform share of its period: mean P / 2, sd P / √12.

Assumes that the clocks run free of one another and of the press. Clocks in a
whole-number ratio keep their phase within a session; the mean over sessions
holds, but one session then spreads less than stated here.
"""

import math
from dataclasses import dataclass
from typing import Any

from blinkspan.errors import BadSetting
from blinkspan.profiles import CTA_SCAN_FRACTION


@dataclass(frozen=True, slots=True)
class Part:
    """One stage's share of the time: a fixed time, then a wait uniform over ``wait_s``."""

    name: str
    fixed_s: float
    wait_s: float = 0.0

    @property
    def mean_s(self) -> float:
        """The mean time the stage takes, in seconds."""
        return self.fixed_s + self.wait_s / 2.0

    @property
    def sd_s(self) -> float:
        """The stage's standard deviation, in seconds."""
        return self.wait_s / math.sqrt(12.0)

    def to_dict(self) -> dict[str, Any]:
        """Return the part in milliseconds."""
        return {
            "name": self.name,
            "least_ms": 1e3 * self.fixed_s,
            "mean_ms": 1e3 * self.mean_s,
            "most_ms": 1e3 * (self.fixed_s + self.wait_s),
        }


@dataclass(frozen=True, slots=True)
class Pipeline:
    """A setup's stages as assumed or known.

    Attributes
    ----------
    game_frame_s : float
        From one game frame to the next; the game samples the control once in each.
    queued_frames : int
        Whole game frames from the one that samples to the one the panel starts to show.
    scan_period_s, poll_period_s : float
        Of the control's own scan and of the link; 0 where there is no such wait.
    system_s, panel_s : float
        Fixed times of the system and of the panel, at the response's row.
    late_share : float
        Share of presses answered one game frame late: a dropped frame, a longer queue.
    refresh_s : float
        The panel's refresh period.
    row_fraction : float
        Where the response's row lies, 0 top to 1 bottom.
    free_refresh : bool
        True where the refresh runs free of the game's frames, so that a finished
        frame waits for it; False where frames are locked to it (the usual case)
        or drive it.
    """

    game_frame_s: float
    queued_frames: int
    refresh_s: float
    scan_period_s: float = 0.0
    poll_period_s: float = 0.0
    system_s: float = 0.0
    panel_s: float = 0.0
    late_share: float = 0.0
    row_fraction: float = 0.5
    free_refresh: bool = False

    def __post_init__(self) -> None:
        for name in ("game_frame_s", "refresh_s"):
            if not 0.0 < getattr(self, name) < math.inf:
                raise BadSetting(f"{name} is {getattr(self, name)}; give a period above zero")
        for name in ("scan_period_s", "poll_period_s", "system_s", "panel_s"):
            if not 0.0 <= getattr(self, name) < math.inf:
                raise BadSetting(f"{name} is {getattr(self, name)}; give zero or more")
        if self.queued_frames < 0:
            raise BadSetting(f"{self.queued_frames} queued frames cannot be; give zero or more")
        for name in ("late_share", "row_fraction"):
            if not 0.0 <= getattr(self, name) <= 1.0:
                raise BadSetting(f"{name} is {getattr(self, name)}; give a share from 0 to 1")

    @property
    def scanout_s(self) -> float:
        """From the start of a refresh to the response's row, in seconds."""
        return CTA_SCAN_FRACTION * self.refresh_s * self.row_fraction

    @property
    def parts(self) -> tuple[Part, ...]:
        """The stages in order; late frames are counted with the queue's mean."""
        queue_s = (self.queued_frames + self.late_share) * self.game_frame_s
        return (
            Part("control scan", 0.0, self.scan_period_s),
            Part("link poll", 0.0, self.poll_period_s),
            Part("system", self.system_s),
            Part("game tick", 0.0, self.game_frame_s),
            Part("queue", queue_s),
            Part("wait for refresh", 0.0, self.refresh_s if self.free_refresh else 0.0),
            Part("scan-out", self.scanout_s),
            Part("panel", self.panel_s),
        )

    @property
    def mean_s(self) -> float:
        """The mean latency, in seconds."""
        return math.fsum(part.mean_s for part in self.parts)

    @property
    def sd_s(self) -> float:
        """The standard deviation of one press's latency, in seconds.

        Waits add in quadrature; a late frame is a coin of height one game frame.
        """
        late = self.late_share * (1.0 - self.late_share) * self.game_frame_s**2
        return math.sqrt(late + math.fsum(part.sd_s**2 for part in self.parts))

    @property
    def waits_s(self) -> tuple[float, ...]:
        """The widths of the uniform waits above zero, in seconds."""
        return tuple(part.wait_s for part in self.parts if part.wait_s > 0.0)
