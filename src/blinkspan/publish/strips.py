"""The frames of a press that a person should see: around the lamp's onset and the response’s."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blinkspan.footage.frames import Luma, PictureFormat
from blinkspan.presses.press import Verdict
from blinkspan.publish.parts import PressPart
from blinkspan.publish.pictures import cut, jpeg
from blinkspan.traces.regions import Rectangle, Regions
from blinkspan.traces.trace import Trace

BEFORE, AFTER = 2, 3
_FRAME_PX = 208  # six side by side on a page, sharp on a dense screen too
_LAMP_ROOM = 6.0  # the lamp with what it is fixed to
_WATCH_ROOM = 1.3
_WIDE = 16 / 9


@dataclass(frozen=True, slots=True)
class StripFrame:
    """One frame, or a part of it, as JPEG.

    Attributes
    ----------
    index : int
        Its number in the take, 0 for the first.
    start_s : float
        When its exposure began at the row of the trace it goes with.
    """

    index: int
    start_s: float
    jpeg: bytes


@dataclass(frozen=True, slots=True)
class PressStrip:
    """The frames around one press's lamp onset and response."""

    number: int
    lamp_frames: tuple[StripFrame, ...]
    response_frames: tuple[StripFrame, ...]


def worth_showing(presses: Sequence[PressPart], most: int = 30) -> tuple[int, ...]:
    """Return the numbers of the presses whose frames a report should carry, rising.

    Those that a person must judge come first, then the others in order of time;
    with ``most`` of them the file stays small enough to send.
    """
    asked = sorted(presses, key=lambda p: (p.verdict is Verdict.ACCEPTED, p.number))
    return tuple(sorted(p.number for p in asked[:most]))


def frames_around(trace: Trace, at_s: float) -> range:
    """Return the indices of the frames to show around an instant.

    Two that began before the frame whose turn it was, that frame, and three
    after it, fewer at the take's ends. The trace has one sample a frame.

    Examples
    --------
    >>> frames_around(Trace(np.zeros(9), np.arange(9.0)), 4.2)
    range(2, 8)
    """
    begun = int(np.searchsorted(trace.start_s, at_s, side="right")) - 1
    return range(max(0, begun - BEFORE), min(trace.start_s.size, begun + AFTER + 1))


def lamp_view(regions: Regions, shape: PictureFormat) -> Rectangle:
    """Return the part of the picture to show for the lamp."""
    side = max(regions.lamp.width, regions.lamp.height)
    return _view(regions.lamp, _LAMP_ROOM * side, shape)


def response_view(regions: Regions, shape: PictureFormat) -> Rectangle:
    """Return the part of the picture to show for the response: the watched part with some room."""
    return _view(regions.watch, _WATCH_ROOM * regions.watch.width, shape)


def strip_frame(
    index: int, start_s: float, luma: Luma, shape: PictureFormat, view: Rectangle
) -> StripFrame:
    """Return the frame's part inside the view, small; the plane is not kept."""
    return StripFrame(index, start_s, jpeg(cut(luma, view), shape, _FRAME_PX))


def _view(box: Rectangle, width: float, shape: PictureFormat) -> Rectangle:
    """Return a box of about that width around the middle of another, 16:9 where it fits."""
    width = max(width, box.height * _WIDE * _WATCH_ROOM)
    width = min(round(width), shape.width_px)
    height = min(max(round(width / _WIDE), box.height), shape.height_px)
    left = round(box.x + box.width / 2 - width / 2)
    top = round(box.y + box.height / 2 - height / 2)
    return Rectangle(
        min(max(left, 0), shape.width_px - width),
        min(max(top, 0), shape.height_px - height),
        width,
        height,
    )
