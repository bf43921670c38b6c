"""A take seen small and whole: what the search for its regions looks at.

The small film keeps code values, not light: a camera's curve evens out the
shot noise, so that one threshold serves dark and bright places. Memory does not
grow with the take: the longer it is, the coarser the small film.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from blinkspan.footage.frames import Clock, Frames, PictureFormat
from blinkspan.traces.reduction import shrink_factor, shrunk
from blinkspan.traces.regions import Rectangle
from blinkspan.traces.trace import Samples

Film = npt.NDArray[np.uint8]
Codes = npt.NDArray[np.float32]

_MOST_CELLS = 80 * 45  # a lamp of 6 px on 1080 rows still moves its cell by several codes
_MOST_FILM_BYTES = 128_000_000
_MOST_STILL_PIXELS = 1920 * 1080  # corners are found far below a pixel of this
_STILL_SAMPLES = 240  # frames that the still pictures are made of, spread over the take


@dataclass(frozen=True, slots=True)
class Survey:
    """What one pass keeps for the search.

    All code values are on the 8-bit scale, whatever the take's depth.

    Attributes
    ----------
    factor : int
        Side of one cell of the small film, in pixels.
    film : ndarray of uint8, shape (n, rows, columns)
        Area means of code values.
    still_factor : int
        Side of one pixel of the still pictures, in pixels of the take.
    mean, most : ndarray of float32, shape (height, width) over ``still_factor``
        The mean and the highest code value of each pixel over the take.
    lamp_codes : ndarray, shape (n,), or None
        Mean code value of the lamp's box, where that was given.
    """

    clock: Clock
    picture: PictureFormat
    factor: int
    film: Film
    still_factor: int
    mean: Codes
    most: Codes
    lamp_codes: Samples | None

    def frames_in(self, span_s: float) -> int:
        """Return a span of time as the nearest whole number of frames."""
        return round(span_s / self.clock.period_s)

    def cell_box(self, box: Rectangle) -> tuple[slice, slice]:
        """Return the rows and columns of all cells that a box of pixels touches."""
        rows = slice(box.y // self.factor, -(-(box.y + box.height) // self.factor))
        return rows, slice(box.x // self.factor, -(-(box.x + box.width) // self.factor))

    def pixel_box(self, row: int, column: int) -> Rectangle:
        """Return the pixels of one cell."""
        return Rectangle(column * self.factor, row * self.factor, self.factor, self.factor)


def survey_take(
    frames: Frames, lamp: Rectangle | None, most_frames: int | None = None
) -> Iterator[int | Survey]:
    """Yield the count of frames done, now and then, and the ``Survey`` last.

    Parameters
    ----------
    frames : Frames
        Read once, in order.
    lamp : Rectangle or None
        The lamp's box where it is known.
    most_frames : int or None
        Stop after so many.
    """
    picture = frames.format
    n = frames.clock.start_s.size
    if most_frames is not None:
        n = min(n, most_frames)
    cells = min(_MOST_CELLS, max(1, _MOST_FILM_BYTES // n))
    factor = shrink_factor(picture.width_px, picture.height_px, cells)
    film = np.zeros((n, picture.height_px // factor, picture.width_px // factor), np.uint8)
    still_factor = shrink_factor(picture.width_px, picture.height_px, _MOST_STILL_PIXELS)
    still = picture.height_px // still_factor, picture.width_px // still_factor
    total = np.zeros(still, np.float32)  # whole numbers below 2**24: no sum is rounded
    most = np.zeros(still, np.uint8 if picture.bit_depth == 8 else np.uint16)
    lamp_codes = None if lamp is None else np.zeros(n)
    scale = 1.0 / 2 ** (picture.bit_depth - 8)
    every = -(-n // _STILL_SAMPLES)
    for i, luma in enumerate(frames):
        if i == n:
            break
        film[i] = shrunk(luma, factor) >> (picture.bit_depth - 8)
        if lamp is not None and lamp_codes is not None:
            box = luma[lamp.y : lamp.y + lamp.height, lamp.x : lamp.x + lamp.width]
            lamp_codes[i] = box.mean() * scale
        if i % every == 0:
            sample = shrunk(luma, still_factor)
            cv2.accumulate(sample, total)
            np.maximum(most, sample, out=most)
        if i % 60 == 59:
            yield i + 1
    mean = total * np.float32(scale / -(-n // every))
    highest = most * np.float32(scale)
    yield Survey(frames.clock, picture, factor, film, still_factor, mean, highest, lamp_codes)
