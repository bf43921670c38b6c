"""The frames of a measured take that a report shows."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from blinkspan.footage.video import OpenTake
from blinkspan.presses.measurement import Measurement
from blinkspan.publish.parts import PressPart
from blinkspan.publish.pictures import jpeg
from blinkspan.publish.strips import (
    PressStrip,
    StripFrame,
    frames_around,
    lamp_view,
    response_view,
    strip_frame,
    worth_showing,
)
from blinkspan.traces.regions import Rectangle
from blinkspan.traces.trace import Trace

_INTO_PRESS = 2  # frames after the lamp's onset the still is taken, so that it shows the lamp lit


@dataclass(frozen=True, slots=True)
class TakePictures:
    """One frame of the whole picture as JPEG, and the presses' strips."""

    still: bytes
    strips: tuple[PressStrip, ...]


def take_pictures(
    take: OpenTake, measurement: Measurement, presses: tuple[PressPart, ...]
) -> Iterator[tuple[int, int] | TakePictures]:
    """Yield how many presses are done of how many, and the pictures last."""
    shown = [p for p in presses if p.number in worth_showing(presses)]
    lamp, response = measurement.lamp_trace, measurement.response_trace
    views = (
        lamp_view(measurement.regions, take.format),
        response_view(measurement.regions, take.format),
    )
    still = jpeg(take.luma(_frame_of_still(lamp, presses)), take.format)
    strips = []
    for done, press in enumerate(shown, start=1):
        strips.append(
            PressStrip(
                press.number,
                _frames(take, lamp, press.lamp_on_s, views[0]),
                _frames(take, response, press.response_s, views[1]),
            )
        )
        yield done, len(shown)
    yield TakePictures(still, tuple(strips))


def _frame_of_still(lamp: Trace, presses: tuple[PressPart, ...]) -> int:
    lit = int(np.searchsorted(lamp.start_s, presses[0].lamp_on_s)) + _INTO_PRESS
    return min(lit, lamp.start_s.size - 1)


def _frames(
    take: OpenTake, trace: Trace, at_s: float | None, view: Rectangle
) -> tuple[StripFrame, ...]:
    if at_s is None:
        return ()
    return tuple(
        strip_frame(i, float(trace.start_s[i]), take.luma(i), take.format, view)
        for i in frames_around(trace, at_s)
    )
