"""One part of a take read and boiled down to pieces, with a look over its edges.

What a part is boiled down to is said by its ``Work``: one whose pieces depend
on their own frames alone, so that parts can be read apart.
"""

import hashlib
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import islice
from typing import Protocol, TypeVar

from blinkspan.errors import BlinkspanError
from blinkspan.footage.frames import Luma
from blinkspan.footage.reel import Reel

# A key frame that only claims to be one (pictures after it build on pictures before it)
# shows at once, in it or in the next few.
_SEAM_FRAMES = 4

Piece = TypeVar("Piece", covariant=True)


class Work(Protocol[Piece]):
    """What is kept of the frames; sent to other processes, so plain data."""

    def pieces(self, planes: Iterable[Luma], first: int = 0) -> Iterator[Piece]:
        """Yield frames boiled down, some at a time; ``first`` is the number of the first."""
        ...


@dataclass(frozen=True, slots=True)
class PartEnd:
    """A part is read.

    Attributes
    ----------
    whole : bool
        Whether every one of its frames was there.
    digests : dict of int to bytes
        Of the luma of its first few frames and of the first few after it, by
        their numbers: two parts that meet must agree.
    """

    whole: bool
    digests: dict[int, bytes]


def read_part(reel: Reel, work: Work[Piece], start: int, stop: int) -> Iterator[Piece | PartEnd]:
    """Yield frames ``start`` to ``stop`` boiled down, and the ``PartEnd`` last."""
    digests: dict[int, bytes] = {}
    read = start

    def counted(planes: Iterator[Luma]) -> Iterator[Luma]:
        nonlocal read
        for luma in planes:
            if read < start + _SEAM_FRAMES or read >= stop:
                digests[read] = _digest(luma)
            read += 1
            yield luma

    beyond = min(stop + _SEAM_FRAMES, reel.frames)
    try:
        with closing(reel.planes_there(start, beyond)) as planes:
            frames = counted(planes)
            yield from work.pieces(islice(frames, stop - start), start)
            for _ in frames:
                pass
    except (BlinkspanError, MemoryError):
        pass  # whoever reads the take in one piece is told what is wrong
    yield PartEnd(read == beyond, digests)


def _digest(luma: Luma) -> bytes:
    return hashlib.blake2b(luma.tobytes()).digest()
