"""A short stretch of a take seen small, so that a region's trace can follow the hand.

Reading a whole take for every place a person drags a box to would take minutes.
A small film of its first seconds is read once; the light of any box over it is
then a matter of milliseconds. It is for the eye: measuring reads the take anew.
"""

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
_WIDTH_PX = 480


@dataclass(frozen=True, slots=True)
class TakeLook:
    """The first seconds of a take, small, in linear light from 0 to 1.

    Attributes
    ----------
    film : ndarray of float16, shape (n, rows, columns)
    scale : float
        Columns of the film to one pixel of the take.
    start_s : ndarray of float64, shape (n,)
    """

    film: npt.NDArray[np.float16]
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
        part = self._part(box)
        mean: Samples = part.mean(axis=(1, 2), dtype=np.float64)
        return mean

    def change(self, box: Rectangle) -> Samples:
        """Return how much of a box's light changes from the frame before, shape (n,), 0 to 1."""
        part = self._part(box).astype(np.float32)
        steps = np.abs(np.diff(part, axis=0)).mean(axis=(1, 2), dtype=np.float64)
        return np.concatenate(([0.0], steps))

    def _part(self, box: Rectangle) -> npt.NDArray[np.float16]:
        box = box.within(self.picture.width_px, self.picture.height_px, "asked for")
        left, top = int(box.x * self.scale), int(box.y * self.scale)
        right = max(left + 1, round((box.x + box.width) * self.scale))
        bottom = max(top + 1, round((box.y + box.height) * self.scale))
        return self.film[:, top:bottom, left:right]


def take_look(take: TakeFrames) -> TakeLook:
    """Return the first seconds of a take, small; reads up to 720 frames."""
    shape = take.format
    count = min(_MOST_FRAMES, take.frames)
    scale = min(1.0, _WIDTH_PX / shape.width_px)
    size = max(1, round(shape.width_px * scale)), max(1, round(shape.height_px * scale))
    table = light_of_codes(shape)
    film = np.zeros((count, size[1], size[0]), np.float16)
    for at, luma in take.stretch(0, count):
        # code values are averaged, not light: right to a few per cent, and enough for the eye
        small = np.asarray(cv2.resize(luma, size, interpolation=cv2.INTER_AREA))
        film[at] = table[np.minimum(small, table.size - 1)] / FULL_SCALE
    return TakeLook(film, scale, take.clock.start_s[:count], shape)
