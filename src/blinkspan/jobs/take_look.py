"""A short stretch of a take seen small, so that a region's trace can follow the hand.

Reading a whole take for every place a person drags a box to would take minutes.
A small film of its first seconds is read once; the light of any box over it is
then a matter of milliseconds. It is for the eye: measuring reads the take anew.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from blinkspan.footage.frames import PictureFormat
from blinkspan.jobs.take_frames import TakeFrames
from blinkspan.traces.light import FULL_SCALE, light_of_codes
from blinkspan.traces.regions import Rectangle
from blinkspan.traces.trace import Samples

_MOST_FRAMES = 720  # three seconds at 240 frames a second: a few presses
_WIDTH_PX = 360
_AT_ONCE = 60  # frames turned to light at a time


@dataclass(frozen=True, slots=True)
class TakeLook:
    """The first seconds of a take, small.

    Attributes
    ----------
    film : ndarray of uint8, shape (n, rows, columns)
        Code values, those of deeper films cut to their upper eight bits.
    light_of : ndarray of float32, shape (256,)
        The linear light of each code, from 0 to 1.
    scale : float
        Columns of the film to one pixel of the take.
    start_s : ndarray of float64, shape (n,)
    """

    film: npt.NDArray[np.uint8]
    light_of: npt.NDArray[np.float32]
    scale: float
    start_s: Samples
    picture: PictureFormat

    def light(self, box: Rectangle) -> Samples:
        """Return the mean light of a box in each frame, shape (n,), 0 to 1.

        Raises
        ------
        BadRegion
            The box leaves the picture.
        """
        means = [part[1:].mean(axis=(1, 2), dtype=np.float64) for part in self._parts(box)]
        return np.concatenate(means)

    def change(self, box: Rectangle) -> Samples:
        """Return how much of a box's light changes from the frame before, shape (n,), 0 to 1."""
        steps = [
            np.abs(np.diff(part, axis=0)).mean(axis=(1, 2), dtype=np.float64)
            for part in self._parts(box)
        ]
        return np.concatenate(steps)

    def _parts(self, box: Rectangle) -> Iterator[npt.NDArray[np.float32]]:
        """Yield the light of a box some frames at a time, led by the frame before, or the first."""
        box = box.within(self.picture.width_px, self.picture.height_px, "asked for")
        left, top = int(box.x * self.scale), int(box.y * self.scale)
        right = max(left + 1, round((box.x + box.width) * self.scale))
        bottom = max(top + 1, round((box.y + box.height) * self.scale))
        seen = self.film[:, top:bottom, left:right]
        before = seen[:1]
        for start in range(0, len(seen), _AT_ONCE):
            some = seen[start : start + _AT_ONCE]
            yield self.light_of[np.concatenate((before, some))]
            before = some[-1:]


def take_look(take: TakeFrames) -> TakeLook:
    """Return the first seconds of a take, small; reads up to 720 frames."""
    shape = take.format
    count = min(_MOST_FRAMES, take.frames)
    scale = min(1.0, _WIDTH_PX / shape.width_px)
    size = max(1, round(shape.width_px * scale)), max(1, round(shape.height_px * scale))
    film = np.zeros((count, size[1], size[0]), np.uint8)
    deeper = shape.bit_depth - 8
    for at, luma in take.stretch(0, count):
        # code values are averaged, not light: right to a few per cent, and enough for the eye
        small = np.asarray(cv2.resize(luma, size, interpolation=cv2.INTER_AREA), luma.dtype)
        film[at] = np.right_shift(small, deeper)
    light = light_of_codes(shape)[np.arange(256) << deeper] / FULL_SCALE
    return TakeLook(film, light.astype(np.float32), scale, take.clock.start_s[:count], shape)
