"""A room with a lamp and a panel, filmed into arrays: every place known, no encoder between."""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np

from blinkspan.footage.frames import Clock, Luma, PictureFormat, TransferCurve
from blinkspan.traces.proposal import propose_regions
from blinkspan.traces.regions import Rectangle, Regions

WIDTH, HEIGHT, RATE_HZ = 192, 108, 240
PRESSES = (60, 180, 290)
ANSWER = Rectangle(120, 36, 24, 18)
CORNERS = ((70.4, 14.2), (180.6, 10.7), (182.3, 84.5), (69.1, 79.8))
SPOT_PX = 6  # side of the lamp's spot
DELAY = 14  # frames from a press to its answer


@dataclass(frozen=True)
class FilmedRoom:
    """Presses in a room; satisfies the Frames protocol. Times are in frames.

    Attributes
    ----------
    lamps : tuple of x, y
        Middle of the lamp's spot in each press.
    panel : bool
        Whether the panel can be told from the wall.
    indicator : bool
        Whether a small light on the screen answers each press, as steady as the lamp.
    standby : bool
        Whether a small light elsewhere in the room blinks on its own.
    flicker : float
        Depth of the room light's ripple at 100 Hz.
    """

    presses: tuple[int, ...] = PRESSES
    lamps: tuple[tuple[float, float], ...] = ((30.0, 80.0),) * 3
    held: int = 30
    count: int = 380
    corners: tuple[tuple[float, float], ...] = CORNERS
    panel: bool = True
    answers: bool = True
    indicator: bool = False
    standby: bool = False
    lamp_light: float = 120.0
    flicker: float = 0.0
    bit_depth: int = 8
    mirrored: bool = False

    @property
    def format(self) -> PictureFormat:
        return PictureFormat(WIDTH, HEIGHT, self.bit_depth, True, TransferCurve.LINEAR)

    @property
    def clock(self) -> Clock:
        return Clock(np.arange(self.count) / RATE_HZ, Fraction(RATE_HZ), "made of arrays")

    def __iter__(self) -> Iterator[Luma]:
        return iter(_filmed(self))

    def planes(self) -> Iterator[Luma]:
        """Yield every plane, made anew."""
        rng = np.random.default_rng(8)
        shown = 70 + 40 * np.kron(rng.random((27, 48)), np.ones((4, 4)))
        inside, frame = covered(self.corners), covered(grown(self.corners, 4.0))
        ripple = 1 + self.flicker * np.sin(2 * np.pi * 100 * np.arange(self.count) / RATE_HZ)
        for i in range(self.count):
            room = np.full((HEIGHT, WIDTH), 40.0) * ripple[i]
            picture = shown.copy()
            for press, (x, y) in zip(self.presses, self.lamps, strict=True):
                if press <= i < press + self.held:
                    _light(room, x, y, self.lamp_light)
                if press + DELAY <= i < press + DELAY + self.held and self.indicator:
                    _light(room if not self.panel else picture, 100, 70, 120.0)
                since = i - press - DELAY
                if self.answers and 0 <= since < 12:  # a flash that fades in three steps
                    box = (slice(ANSWER.y, ANSWER.y + 18), slice(ANSWER.x, ANSWER.x + 24))
                    (picture if self.panel else room)[box] += (110, 60, 25)[since // 4]
            if self.standby and i % 90 < 40:
                _light(room, 20, 20, 120.0)
            if self.panel:
                room = room * (1 - frame) + 8 * (frame - inside) + picture * inside
            codes = np.clip(room + rng.normal(0, 1.0, room.shape), 0, 255)
            depth = 2 ** (self.bit_depth - 8)
            luma = np.rint(codes * depth).astype(np.uint8 if depth == 1 else np.uint16)
            yield luma[:, ::-1] if self.mirrored else luma


@lru_cache(maxsize=2)
def _filmed(film: FilmedRoom) -> tuple[Luma, ...]:
    """Return a film's planes, kept since a film is read twice."""
    return tuple(film.planes())


def covered(corners: tuple[tuple[float, float], ...]) -> np.ndarray:
    """Return how much of each pixel lies inside corners that run clockwise, 0 to 1."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5
    cover = np.ones((HEIGHT, WIDTH))
    for (x0, y0), (x1, y1) in zip(corners, corners[1:] + corners[:1], strict=True):
        across = ((x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)) / np.hypot(x1 - x0, y1 - y0)
        cover *= np.clip(across + 0.5, 0, 1)
    return cover


def grown(corners: tuple[tuple[float, float], ...], by: float) -> tuple[tuple[float, float], ...]:
    """Return the corners of a frame so wide round an upright quadrilateral."""
    signs = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    return tuple((x + by * a, y + by * b) for (x, y), (a, b) in zip(corners, signs, strict=True))


def proposed(film: FilmedRoom, lamp=None, panel=None, watch=None) -> Regions:
    """Return the regions that are proposed for a film."""
    *_, regions = propose_regions(film, lamp, panel, watch)
    assert isinstance(regions, Regions)
    return regions


def _light(picture: np.ndarray, x: float, y: float, light: float) -> None:
    left, top = round(x - SPOT_PX / 2), round(y - SPOT_PX / 2)
    picture[top : top + SPOT_PX, left : left + SPOT_PX] += light
