"""Where the time of a title's presses goes: queue, fixed part, waits, spread, all in one answer."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from blinkspan.study.baseline import AboveBaseline, above_baseline
from blinkspan.study.modes import ModeSample
from blinkspan.study.pipeline_inference import infer_queue
from blinkspan.study.pipeline_prior import QueuePrior
from blinkspan.study.pipeline_spread import SpreadCheck, check_spread
from blinkspan.study.queues import QueuePosterior


@dataclass(frozen=True, slots=True)
class ModeTime:
    """One mode's mean latency part by part, if the most probable queue holds.

    Attributes
    ----------
    parts_ms : tuple of (name, float)
        In the order of a press's way; they add up to ``predicted_ms``.
    seen_ms : float
        The mean of the presses.
    """

    name: str
    parts_ms: tuple[tuple[str, float], ...]
    seen_ms: float

    @property
    def predicted_ms(self) -> float:
        """The parts together."""
        return sum(mean for _, mean in self.parts_ms)


@dataclass(frozen=True, slots=True)
class Explanation:
    """What the presses say of the pipeline behind them.

    Attributes
    ----------
    queue : QueuePosterior
    times : tuple[ModeTime, ...]
    spreads : tuple[SpreadCheck, ...]
        Both one a mode, from the shortest game frame to the longest.
    above : tuple[AboveBaseline, ...]
        Each mode against the menu, where that was filmed.
    """

    queue: QueuePosterior
    times: tuple[ModeTime, ...]
    spreads: tuple[SpreadCheck, ...]
    above: tuple[AboveBaseline, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return {
            "queue": self.queue.to_dict(),
            "times": [
                {
                    "name": time.name,
                    "parts_ms": dict(time.parts_ms),
                    "predicted_ms": time.predicted_ms,
                    "seen_ms": time.seen_ms,
                }
                for time in self.times
            ],
            "spreads": [check.to_dict() for check in self.spreads],
            "above_baseline": [above.to_dict() for above in self.above],
            "sentence": str(self),
        }

    def __str__(self) -> str:
        """Return the answer in plain sentences, a line each subject."""
        return "\n".join(str(said) for said in (self.queue, *self.spreads, *self.above))


def explain(
    samples: Sequence[ModeSample],
    links_s: Sequence[tuple[float, ...]],
    rng: np.random.Generator,
    *,
    prior: QueuePrior | None = None,
    baseline: ModeSample | None = None,
    shared_u_s: float = 0.0,
) -> Explanation:
    """Return where the time goes in one or more modes of a title.

    Parameters
    ----------
    samples : sequence of ModeSample
    links_s : sequence of tuples of float
        Possible waits of control, link and refresh, in seconds; see ``infer_queue``.
    rng : Generator
        For the check of the spread.
    baseline : ModeSample | None
        The system's own menu on the same gear.
    shared_u_s : float
        Standard uncertainty common to all modes.

    Raises
    ------
    BadSample
        Too few presses, or presses that nothing in the prior explains.
    BadSetting
        No set of waits.
    """
    queue = infer_queue(samples, links_s, prior, shared_u_s=shared_u_s)
    modes = sorted(samples, key=lambda sample: sample.frame_s)
    spreads = []
    for mode, late in zip(modes, queue.late, strict=True):
        share = late.share.value if late.share is not None and late.chance > 0.5 else None
        spreads.append(check_spread(mode, links_s, rng, late_share=share))
    waits_ms = 1e3 * sum(sum(waits) / 2.0 for waits in links_s) / len(links_s)
    return Explanation(
        queue=queue,
        times=tuple(_time(queue, index, mode, waits_ms) for index, mode in enumerate(modes)),
        spreads=tuple(spreads),
        above=tuple(above_baseline(mode, baseline) for mode in modes) if baseline else (),
    )


def _time(queue: QueuePosterior, index: int, mode: ModeSample, waits_ms: float) -> ModeTime:
    frame_ms, late = 1e3 * mode.frame_s, queue.late[index]
    late_ms = frame_ms * late.chance * late.share.value if late.share is not None else 0.0
    return ModeTime(
        name=mode.name,
        parts_ms=(
            ("waits of control and link", waits_ms),
            ("fixed part: system and panel", queue.fixed_of_first_ms.value),
            ("wait for the game to sample", frame_ms / 2.0),
            ("queued frames", frame_ms * queue.queues[0][index]),
            ("late frames", late_ms),
            ("scan-out to the row", 1e3 * mode.scanout_s),
        ),
        seen_ms=1e3 * float(mode.latency_s.mean()),
    )
