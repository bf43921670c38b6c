"""One streaming pass over a take: the lamp's pixels and a small film of the watched region.

Everything measured later is read from these two series, so a take is decoded
once. The small film is kept in linear light as 16-bit integers; the caller
provides its array, so that a long take can live in a file instead of memory.

Every frame is reduced by itself, so that pieces of a take can be reduced apart,
in any order and in other processes, and joined without a seam.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Protocol, TypeVar

import cv2
import numpy as np
import numpy.typing as npt

from blinkspan.footage.frames import Clock, Frames, Luma, PictureFormat
from blinkspan.traces.light import highest_code, light_of_codes
from blinkspan.traces.regions import Rectangle

Light = npt.NDArray[np.uint16]
# A picture comes out as the kind of numbers that went in.
Plane = TypeVar(
    "Plane", bound=npt.NDArray[np.uint8] | npt.NDArray[np.uint16] | npt.NDArray[np.float32]
)


class Film(Protocol):
    """Small pictures in order of time: an array, or a file of which slices are read and written."""

    @property
    def shape(self) -> tuple[int, ...]:
        """Frames, rows and columns."""
        ...

    def __getitem__(self, frames: slice, /) -> Light:
        """Return some frames."""
        ...

    def __setitem__(self, frames: slice, light: Light, /) -> None:
        """Replace some frames."""
        ...


Allocate = Callable[[tuple[int, ...]], Film]

# Pixels kept of the watched region per frame. A pan of one camera pixel still
# shows at this size, and reducing costs far less than decoding (docs/benchmarks.md).
_WATCH_PIXELS = 128 * 72
_LAMP_PIXELS = 24 * 24
# Above these factors the watched part is halved in code values, once or twice, before its
# light is looked up: halving costs a tenth of any other shrinking.
_HALVED_ABOVE, _QUARTERED_ABOVE = 3, 8
# Handed on together: about a megabyte, a quarter of a second at 240 fps; fewer of a large lamp.
_PIECE_FRAMES, _PIECE_PX = 60, 2**22


def in_memory(shape: tuple[int, ...]) -> Film:
    """Return a plain array for a series; good for takes of a minute or so."""
    return np.zeros(shape, np.uint16)


@dataclass(frozen=True, slots=True)
class Series:
    """What one pass keeps of a take.

    Attributes
    ----------
    lamp : ndarray of uint16, shape (n, a, b)
        Linear light of the lamp's region, reduced by area where it is large.
    lamp_clipped : ndarray of bool, shape (n,)
        Whether part of the lamp's region sat at the top of the code range.
    around : ndarray of uint16, shape (n,)
        Mean linear light of a ring around the lamp, which sees the room but not the lamp.
    watch : Film of uint16, shape (n, rows, columns)
        Linear light of the watched region, reduced by area.
    """

    clock: Clock
    picture: PictureFormat
    lamp_region: Rectangle
    watch_region: Rectangle
    lamp: Light
    lamp_clipped: npt.NDArray[np.bool_]
    around: Light
    watch: Film

    @property
    def watch_factor(self) -> int:
        """How many pixels a side one cell of the small film stands for."""
        return watch_factor(self.watch_region)

    @property
    def watch_row_px(self) -> npt.NDArray[np.float64]:
        """The picture row at the middle of each row of the small film, shape (rows,)."""
        rows = np.arange(self.watch.shape[1], dtype=np.float64)
        return self.watch_region.y + (rows + 0.5) * self.watch_factor


def shrink_factor(width: int, height: int, pixels: int) -> int:
    """Return the whole factor that brings a picture down to at most that many pixels.

    Examples
    --------
    >>> shrink_factor(1280, 720, 128 * 72), shrink_factor(60, 40, 128 * 72)
    (10, 1)
    """
    factor = 1
    while (width // factor) * (height // factor) > pixels and factor < min(width, height):
        factor += 1
    return factor


def watch_factor(watch: Rectangle) -> int:
    """Return by how much the watched part is shrunk; a large one by what can be halved.

    Examples
    --------
    >>> [watch_factor(Rectangle(0, 0, 16 * k, 9 * k)) for k in (20, 32, 80, 120)]
    [3, 4, 12, 16]
    """
    factor = shrink_factor(watch.width, watch.height, _WATCH_PIXELS)
    if factor <= _HALVED_ABOVE:
        return factor
    step = 2 if factor <= _QUARTERED_ABOVE else 4
    even = -(-factor // step) * step
    return even if even <= min(watch.width, watch.height) else factor


@dataclass(frozen=True, slots=True)
class Piece:
    """Some frames in a row, reduced; the arrays are those of ``Series``, from ``first`` on."""

    first: int
    lamp: Light
    lamp_clipped: npt.NDArray[np.bool_]
    around: Light
    watch: Light

    @property
    def frames(self) -> slice:
        """Their numbers in the take."""
        return slice(self.first, self.first + self.around.size)


@dataclass(frozen=True, slots=True)
class Reduction:
    """What is kept of each frame: the lamp's region, its surroundings, the watched region.

    Raises
    ------
    BadRegion
        A region leaves the picture.
    """

    picture: PictureFormat
    lamp: Rectangle
    watch: Rectangle

    def __post_init__(self) -> None:
        """Refuse regions outside the picture."""
        self.lamp.within(self.picture.width_px, self.picture.height_px, "lamp")
        self.watch.within(self.picture.width_px, self.picture.height_px, "watch")

    @property
    def lamp_factor(self) -> int:
        """How many pixels a side one pixel of the lamp's series stands for."""
        return shrink_factor(self.lamp.width, self.lamp.height, _LAMP_PIXELS)

    @property
    def watch_factor(self) -> int:
        """How many pixels a side one pixel of the small film stands for."""
        return watch_factor(self.watch)

    def pieces(self, planes: Iterable[Luma], first: int = 0) -> Iterator[Piece]:
        """Yield the frames reduced, some at a time; ``first`` is the number of the first."""
        table = light_of_codes(self.picture)
        white = table[highest_code(self.picture)]
        near = _near(self.lamp, self.picture)
        lamp_factor, watch_factor = self.lamp_factor, self.watch_factor
        at_once = max(1, min(_PIECE_FRAMES, _PIECE_PX // (near.strip.width * near.strip.height)))
        planes = iter(planes)
        while True:
            strips, watch = [], []
            for luma in islice(planes, at_once):
                strips.append(_part(luma, near.strip).copy())
                watch.append(_watched(_part(luma, self.watch), watch_factor, table))
            if not strips:
                return
            light = np.stack([_light(strip, table) for strip in strips])
            patches = light[..., near.lamp]
            yield Piece(
                first,
                np.stack([shrunk(patch, lamp_factor) for patch in patches]),
                patches.max(axis=(1, 2)) >= white,
                near.mean_beside(light),
                np.stack(watch),
            )
            first += len(strips)

    def joined(
        self, pieces: Iterable[Piece], clock: Clock, allocate: Allocate
    ) -> Iterator[int | Series]:
        """Yield the count of frames done after each piece, and the ``Series`` last.

        Parameters
        ----------
        pieces : iterable of Piece
            All frames of the take, in any order; what comes again replaces what came.
        clock : Clock
            Of the whole take.
        allocate : callable
            Returns room for uint16 of the shape asked for.
        """
        n = clock.start_s.size
        lamp = np.zeros((n, *_shape(self.lamp, self.lamp_factor)), np.uint16)
        clipped = np.zeros(n, np.bool_)
        around = np.zeros(n, np.uint16)
        watch = allocate((n, *_shape(self.watch, self.watch_factor)))
        come = np.zeros(n, np.bool_)
        for piece in pieces:
            lamp[piece.frames] = piece.lamp
            clipped[piece.frames] = piece.lamp_clipped
            around[piece.frames] = piece.around
            watch[piece.frames] = piece.watch
            come[piece.frames] = True
            yield int(np.count_nonzero(come))
        assert come.all(), "the frames of a take come all or with a refusal"
        yield Series(clock, self.picture, self.lamp, self.watch, lamp, clipped, around, watch)


def reduce_take(
    frames: Frames, lamp: Rectangle, watch: Rectangle, allocate: Allocate = in_memory
) -> Iterator[int | Series]:
    """Yield the count of frames done, now and then, and the ``Series`` last.

    Parameters
    ----------
    frames : Frames
        Read once, in order.
    lamp, watch : Rectangle
        Inside the picture.
    allocate : callable
        Returns room for uint16 of the shape asked for.

    Raises
    ------
    BadRegion
        A region leaves the picture.
    """
    reduction = Reduction(frames.format, lamp, watch)
    yield from reduction.joined(reduction.pieces(frames), frames.clock, allocate)


def _light(codes: Luma, table: Light) -> Light:
    if codes.dtype == np.uint8:  # OpenCV's own look-up is the fast one but takes 8 bits only
        return cv2.LUT(codes, table)  # type: ignore[return-value]
    return table[np.minimum(codes, table.size - 1)]


def _part(luma: Luma, box: Rectangle) -> Luma:
    return luma[box.y : box.y + box.height, box.x : box.x + box.width]


def _shape(box: Rectangle, factor: int) -> tuple[int, int]:
    return box.height // factor, box.width // factor


def _watched(codes: Luma, factor: int, table: Light) -> Light:
    """Linear light of the watched part, shrunk by a whole factor.

    A large part is halved in code values first, a very large one twice:
    neighbours differ little and the noise dithers the rounding.
    """
    halvings = (factor > _HALVED_ABOVE) + (factor > _QUARTERED_ABOVE)
    if halvings and factor % 2**halvings == 0:
        rows, columns = codes.shape[0] // factor * factor, codes.shape[1] // factor * factor
        codes = codes[:rows, :columns]
        for _ in range(halvings):
            codes = shrunk(codes, 2)
        factor //= 2**halvings
    return shrunk(_light(codes, table), factor)


def shrunk(plane: Plane, factor: int) -> Plane:
    """Return area averages over whole blocks; rows and columns left over are cut off.

    OpenCV is ten times faster at whole blocks than at broken ones.
    """
    if factor == 1:
        return plane
    rows, columns = plane.shape[0] // factor, plane.shape[1] // factor
    whole = plane[: rows * factor, : columns * factor]
    return cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA)  # type: ignore[return-value]


@dataclass(frozen=True, slots=True)
class _Near:
    """The lamp's rows with what is beside it: copied at once, for far memory is slow to reach.

    Attributes
    ----------
    strip : Rectangle
        In the picture.
    lamp : slice
        Its columns in the strip.
    sides : tuple of slice
        Columns left and right of the lamp, one lamp's width away; none where it fills the picture.
    """

    strip: Rectangle
    lamp: slice
    sides: tuple[slice, ...]

    def mean_beside(self, light: Light) -> Light:
        """Return the mean light beside the lamp in some strips, shape (n,); 0 where nothing is."""
        total = np.zeros(light.shape[0], np.uint64)
        columns = 0
        for side in self.sides:
            total += light[..., side].sum(axis=(1, 2), dtype=np.uint64)
            columns += side.stop - side.start
        return (total // np.uint64(max(1, columns * light.shape[1]))).astype(np.uint16)


def _near(lamp: Rectangle, picture: PictureFormat) -> _Near:
    """Return where to look at a lamp and at its surroundings inside the picture."""
    gap, width = lamp.width, max(4, lamp.width)
    ranges = [
        (max(0, left), min(picture.width_px, left + width))
        for left in (lamp.x - gap - width, lamp.x + lamp.width + gap)
    ]
    seen = [(x0, x1) for x0, x1 in ranges if x1 - x0 >= 2]
    x = min([lamp.x, *(x0 for x0, _ in seen)])
    stop = max([lamp.x + lamp.width, *(x1 for _, x1 in seen)])
    return _Near(
        Rectangle(x, lamp.y, stop - x, lamp.height),
        slice(lamp.x - x, lamp.x - x + lamp.width),
        tuple(slice(x0 - x, x1 - x) for x0, x1 in seen),
    )
