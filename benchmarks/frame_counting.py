"""Plain frame counting on the same takes: the work as it is done with a player and a notepad.

``count_frames`` is the careful person: the first frame in which the lamp is
more than half lit, the first in which the watched part differs from the frame
before the press by more than it does when nothing happens, and the frames
between the two times the stated period. ``perfect_eye`` sees every change, even
the faintest part of an exposure, in the very first frame that holds it, since
it is told the truth: the best that counting whole frames can ever do.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from blinkspan.footage.frames import Luma
from blinkspan.footage.video import OpenTake
from blinkspan.stage.truth import Truth
from blinkspan.traces.regions import Rectangle

Differences = npt.NDArray[np.float64]

_LEAST_DARK_S = 0.05  # between two presses: shorter is a bouncing contact
_IDLE_S = 0.15  # watched before each press, about as long as an answer takes
_LONGEST_S = 0.4  # looked for an answer
_RESTED_S = _LONGEST_S + _IDLE_S
_ABOVE_IDLE = 1.1  # times the largest idle difference before any press of the take; lower or
# higher, or each press by itself, counts worse


@dataclass(frozen=True, slots=True)
class Counted:
    """One press as counted: the frame of its lamp, and the frames to its answer or None."""

    lamp_frame: int
    frames: int | None


def count_frames(take: OpenTake, lamp: Rectangle, watch: Rectangle) -> list[Counted]:
    """Return every press of a take as a careful person counts it."""
    period_s = take.clock.period_s
    lit = _lit(np.array([_part(luma, lamp).mean() for luma in take]), period_s)
    ends = [*lit[1:], take.frames]
    seen = [_unlike_before(take, watch, lit[k], ends[k]) for k in range(len(lit))]
    # What follows an answer is not idle.
    rested = [k == 0 or lit[k] - lit[k - 1] > _RESTED_S / period_s for k in range(len(lit))]
    idle = [seen[k][0].max() for k in range(len(lit)) if rested[k] and seen[k][0].size]
    if not idle:
        return []
    threshold = _ABOVE_IDLE * max(idle)
    counted = []
    for frame, (_, after) in zip(lit, seen, strict=True):
        over = np.flatnonzero(after > threshold)
        counted.append(Counted(frame, int(over[0]) if over.size else None))
    return counted


def perfect_eye(truth: Truth, start_s: npt.NDArray[np.float64]) -> list[int | None]:
    """Return the frames from lamp to answer of every true press, each seen as soon as it shows."""
    row_s = truth.readout_ms / 1e3 / (truth.height_px - 1)

    def first_to_show(moment_s: float, row_px: float) -> int:
        ends_s = start_s + row_px * row_s + truth.exposure_ms / 1e3
        return int(np.searchsorted(ends_s, moment_s, side="right"))

    lamp_row_px = truth.lamp.middle_row_px
    return [
        None
        if press.response_s is None
        else first_to_show(press.response_s, truth.response_row_px)
        - first_to_show(press.lamp_on_s, lamp_row_px)
        for press in truth.presses
    ]


def _lit(levels: npt.NDArray[np.float64], period_s: float) -> list[int]:
    """Return the frames in which the lamp has gone past half way, bounces left out."""
    dark, bright = np.percentile(levels, (5, 97))
    past = levels > (dark + bright) / 2
    rises = np.flatnonzero(past[1:] & ~past[:-1]) + 1
    frames: list[int] = []
    for frame in rises.tolist():
        since = math.ceil(_LEAST_DARK_S / period_s)
        if not past[max(0, frame - since) : frame].any():
            frames.append(frame)
    return frames


def _unlike_before(
    take: OpenTake, watch: Rectangle, lamp_frame: int, end: int
) -> tuple[Differences, Differences]:
    """Return how unlike the frame before a press the ones before it and from it on are."""
    period_s = take.clock.period_s
    first = max(0, lamp_frame - 1 - round(_IDLE_S / period_s))
    stop = min(take.frames, end, lamp_frame + round(_LONGEST_S / period_s))
    shown = [_part(luma, watch).copy() for luma in take.stream(first, stop)]
    before = max(0, lamp_frame - 1 - first)
    differences = np.array([_difference(luma, shown[before]) for luma in shown])
    return differences[:before], differences[before + 1 :]


def _part(luma: Luma, box: Rectangle) -> Luma:
    return luma[box.y : box.y + box.height, box.x : box.x + box.width]


def _difference(one: Luma, other: Luma) -> float:
    """Return the mean absolute difference in code values."""
    return float(cv2.norm(one, other, cv2.NORM_L1)) / one.size
