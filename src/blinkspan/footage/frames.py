"""What a frame of film is and when its rows gathered light; no FFmpeg here.

Row ``y`` of frame ``i`` gathers light over
``[start_s[i] + y * row_s, start_s[i] + y * row_s + exposure_s]``: a rolling
shutter starts each row a little after the one above it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Protocol

import numpy as np
import numpy.typing as npt

Luma = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]


class TransferCurve(StrEnum):
    """How light was turned into code values."""

    BT709 = "bt709"
    SRGB = "srgb"
    LINEAR = "linear"


class Shutter(StrEnum):
    """Which way the sensor's rows are read through the picture as shown.

    Down, but where the film is turned for showing: a camera held upside down or on edge.
    """

    DOWN = "down"
    UP = "up"
    RIGHT = "right"
    LEFT = "left"

    @property
    def down(self) -> int:
        """1 where lower rows of the picture are read later, -1 where sooner, 0 where together."""
        return {Shutter.DOWN: 1, Shutter.UP: -1}.get(self, 0)

    @property
    def right(self) -> int:
        """The same for its columns, from left to right."""
        return {Shutter.RIGHT: 1, Shutter.LEFT: -1}.get(self, 0)


@dataclass(frozen=True, slots=True)
class PictureFormat:
    """The shape and coding of a take's luma plane, as shown (rotation applied).

    Attributes
    ----------
    width_px, height_px : int
    bit_depth : int
        8 to 16; planes of more than 8 bits are uint16 with the value in the low bits.
    full_range : bool
        True for 0..255 (scaled by depth), False for 16..235.
    transfer : TransferCurve
    coarseness : float
        How many times as coarse as good film's the encoder's steps are; 1 where it does not tell.
    shutter : Shutter
    """

    width_px: int
    height_px: int
    bit_depth: int
    full_range: bool
    transfer: TransferCurve
    coarseness: float = 1.0
    shutter: Shutter = Shutter.DOWN


@dataclass(frozen=True, slots=True)
class Clock:
    """The true start of each frame's exposure at row 0, counted from the first frame's.

    Attributes
    ----------
    start_s : ndarray of float64, shape (n,), rising, start_s[0] == 0
    rate_hz : Fraction
        Frames a second in real time: the nominal rate behind the steps.
    source : str
        Where the rate came from, in plain words ("container", "capture-rate tag", "given").
    """

    start_s: npt.NDArray[np.float64]
    rate_hz: Fraction
    source: str

    @property
    def period_s(self) -> float:
        """The nominal time from one frame to the next, in seconds."""
        return float(1 / self.rate_hz)

    def gaps(self) -> npt.NDArray[np.intp]:
        """Return the indices i where the step from frame i to i + 1 exceeds 1.5 periods."""
        return np.flatnonzero(np.diff(self.start_s) > 1.5 * self.period_s)


class Frames(Protocol):
    """A source of luma planes in order of time: an open take, or arrays in a test."""

    @property
    def format(self) -> PictureFormat:
        """The shape and coding of every plane."""
        ...

    @property
    def clock(self) -> Clock:
        """True times of the frames."""
        ...

    def __iter__(self) -> Iterator[Luma]:
        """Yield each luma plane, shape (height, width); valid until the next step only."""
        ...
