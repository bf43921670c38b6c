"""Play presses through a pipeline event by event: the second opinion on the convolution.

Nothing here knows of uniform waits or of ``k`` times a frame. Clocks tick, each
stage hands on what the one before it last showed, and frames leave a
first-in-first-out queue; the latencies are read off at the end.
"""

import heapq
from collections import deque
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadSetting
from blinkspan.study.pipeline import Pipeline


class _Event(IntEnum):
    SCAN = 0
    POLL = 1
    ARRIVE = 2
    TICK = 3
    REFRESH = 4


def simulate_spans(
    pipeline: Pipeline, presses: int, rng: np.random.Generator
) -> npt.NDArray[np.float64]:
    """Return the latency of each of ``presses`` simulated presses, in seconds, shape (presses,).

    Every press meets all clocks at phases of its own, as presses far apart
    with free-running clocks do. Cost is some hundred events a press.

    Raises
    ------
    BadSetting
        Fewer than one press.
    """
    if presses < 1:
        raise BadSetting(f"{presses} presses cannot be simulated; ask for one or more")
    return np.array([_one_press(pipeline, rng) for _ in range(presses)])


def _one_press(pipeline: Pipeline, rng: np.random.Generator) -> float:
    """Seconds from a control closed at time 0 to its answer at the row."""
    periods = {
        _Event.SCAN: pipeline.scan_period_s,
        _Event.POLL: pipeline.poll_period_s,
        _Event.TICK: pipeline.game_frame_s,
        _Event.REFRESH: pipeline.refresh_s if pipeline.free_refresh else 0.0,
    }
    phases = rng.random(len(periods))
    agenda: list[tuple[float, _Event]] = [
        (float(phase) * period, event)
        for (event, period), phase in zip(periods.items(), phases, strict=True)
        if period > 0.0
    ]
    heapq.heapify(agenda)
    scanned = periods[_Event.SCAN] == 0.0  # no scan: the link sees the control itself
    sent = arrived = sampled = slipped = front = False
    queue = deque([False] * pipeline.queued_frames)
    if scanned and periods[_Event.POLL] == 0.0:
        sent = True
        heapq.heappush(agenda, (pipeline.system_s, _Event.ARRIVE))
    while True:
        now, event = heapq.heappop(agenda)
        if event is not _Event.ARRIVE:
            heapq.heappush(agenda, (now + periods[event], event))
        if event is _Event.SCAN:
            scanned = True
        if event is _Event.ARRIVE:
            arrived = True
        if scanned and not sent and (event is _Event.POLL or periods[_Event.POLL] == 0.0):
            sent = True
            heapq.heappush(agenda, (now + pipeline.system_s, _Event.ARRIVE))
        if event is _Event.TICK:
            if arrived and not (sampled or slipped) and rng.random() < pipeline.late_share:
                slipped = True  # this frame is lost; the next one samples the press
            elif arrived:
                sampled = True
            queue.append(sampled)
            front = queue.popleft()
        if front and (event is _Event.REFRESH or not pipeline.free_refresh):
            return now + pipeline.scanout_s + pipeline.panel_s
