"""The look of the watched region just before a moment, and how it was moving.

Everything after that moment is held against this look. Where the view drifts by
itself (``drift``), a frame is first carried back by as much as it has drifted
since, so that what is left is what the take does not do on its own.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from blinkspan.traces.light import FULL_SCALE
from blinkspan.traces.reduction import Film
from blinkspan.traces.trace import Samples

Light = npt.NDArray[np.float32]
Frame = int
Pictures = npt.NDArray[np.uint16] | Light
Velocity = tuple[float, float]  # sideways and down, in cells a frame

REFERENCE_S = 0.050  # the look before a press is the mean of this long
# Of the bell: a film shrunk to a third and moved by known parts of a cell reads its true
# displacement to 2 %, where without it is a quarter too far at first (staged takes).
SOFT_CELLS = 1.0
_BELLS_REACH = 3.0


@dataclass(frozen=True, slots=True)
class Motion:
    """How a picture moves by itself.

    Attributes
    ----------
    velocity : tuple of float
    standing : ndarray of bool, shape (rows, columns)
        Cells that stand still where the rest drifts: a figure, writing on the screen.
    """

    velocity: Velocity
    standing: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Look:
    """The picture as it was just before a frame.

    Attributes
    ----------
    light : ndarray of float32, shape (rows, columns)
        0 to 1, as it stood at ``frame``.
    frame : int
    motion : Motion, or None
        How it was moving; None where views do not drift.
    """

    light: Light
    frame: Frame
    motion: Motion | None = None


def light_of(film: Film, first: Frame, stop: Frame) -> Light:
    """Return frames ``first`` to ``stop`` as light of 0 to 1, shape (m, rows, columns)."""
    return film[first:stop].astype(np.float32) / np.float32(FULL_SCALE)


def carried(pictures: Light, later: Samples, velocity: Velocity) -> Light:
    """Return pictures, softened, as a drift has them some frames later each; edges repeat.

    Cells are means over blocks of pixels, so that detail finer than two cells is folded
    back and seems to move as it does not: softened, the picture moves as a whole.

    Parameters
    ----------
    pictures : ndarray of float32, shape (m, rows, columns)
    later : ndarray, shape (m,)
        Frames, negative for earlier.
    velocity : tuple of float
    """
    out = np.empty_like(pictures)
    for picture, frames, into in zip(pictures, later, out, strict=True):
        across, down = _shifting(velocity[0] * frames), _shifting(velocity[1] * frames)
        cv2.sepFilter2D(picture, -1, across, down, into, borderType=cv2.BORDER_REPLICATE)
    return out


def _shifting(by: float) -> Samples:
    """Return the filter that softens and shifts by a number of cells: a bell beside the middle."""
    reach = math.ceil(abs(by) + _BELLS_REACH * SOFT_CELLS)
    bell = np.exp(-0.5 * ((np.arange(-reach, reach + 1) + by) / SOFT_CELLS) ** 2)
    kernel: Samples = bell / bell.sum()
    return kernel


def look_before(film: Film, frame: Frame, period_s: float, motion: Motion | None = None) -> Look:
    """Return the mean picture over ``REFERENCE_S`` before a frame, carried to that frame."""
    count = max(2, round(REFERENCE_S / period_s))
    first, stop = max(0, frame - count), max(1, frame)
    light = steadied(light_of(film, first, stop), first - frame, motion)
    return Look(light.mean(axis=0), frame, motion)


def change_since(film: Film, first: Frame, stop: Frame, look: Look) -> Light:
    """Return how frames ``first`` to ``stop`` differ from a look, (m, rows, columns)."""
    light = steadied(light_of(film, first, stop), first - look.frame, look.motion)
    change: Light = light - look.light
    return change


def steadied(pictures: Pictures, after: Frame, motion: Motion | None) -> Pictures | Light:
    """Return consecutive pictures as the motion had them when the look was taken.

    ``after`` tells how many frames after it the first of them came. Without
    motion they are what they were, else 32-bit floats.
    """
    if motion is None:
        return pictures
    light = np.asarray(pictures, np.float32)
    later = -after - np.arange(light.shape[0], dtype=float)
    out = carried(light, later, motion.velocity)
    if motion.standing.any():
        out = np.where(motion.standing, carried(light, 0 * later, motion.velocity), out)
    return out
