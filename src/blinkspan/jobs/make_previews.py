"""Small pictures of every frame of a take, made once, so that a jump to any shows at once.

A jump into a long group of pictures has to decode from the key frame on, which
takes up to a second. The small picture of the right frame is shown meanwhile.
"""

import os
from collections.abc import Iterable, Iterator
from itertools import islice
from pathlib import Path
from typing import Any

from blinkspan.footage.video import OpenTake, open_take
from blinkspan.jobs.frame_pictures import jpeg_of
from blinkspan.library.preview_cache import PreviewCache, preview_place, trim_previews

PREVIEW_PX = 640
_QUALITY = 60
_MOST_BYTES = 2 * 2**30  # of all takes together; a minute at 240 frames a second takes 0.25 GB
_AT_ONCE = 60  # frames between two looks at what is there
_LEAST_URGENT = 19


def make_previews(
    library: Path, sha256: str, clip: Path, rate_hz: float | None, first: Iterable[tuple[int, int]]
) -> Iterator[tuple[int, int]]:
    """Yield how many frames are done of how many, while small pictures are made of all.

    Ended in the middle, it goes on another time where it was.

    Parameters
    ----------
    first : iterable of (int, int)
        Stretches of frames (start, stop) to begin with, in that order.
    """
    kept = PreviewCache.of(library, sha256)
    trim_previews(library, _MOST_BYTES, preview_place(library, sha256))
    try:
        with open_take(clip, rate_hz, threads=1) as take:
            done = 0
            for start, stop in stretches(first, take.segments(-(-take.frames // _AT_ONCE))):
                if kept.missing(start, stop):
                    pictures = _made(take, start, stop)
                    while made := list(islice(pictures, _AT_ONCE)):
                        kept.put(made)
                        yield done, take.frames
                done += stop - start
                yield done, take.frames
    finally:
        kept.close()


def make_previews_aside(*arguments: Any) -> Iterator[tuple[int, int]]:
    """Yield the same in a process of its own, which gives way to everything else."""
    if hasattr(os, "nice"):  # not on Windows
        os.nice(_LEAST_URGENT)
    yield from make_previews(*arguments)


def stretches(
    first: Iterable[tuple[int, int]], segments: list[tuple[int, int]]
) -> list[tuple[int, int]]:
    """Return the segments of a take, each once, those first that stretches of frames touch.

    Examples
    --------
    >>> stretches([(25, 31), (5, 8)], [(0, 10), (10, 20), (20, 30), (30, 40)])
    [(20, 30), (30, 40), (0, 10), (10, 20)]
    """
    order: dict[tuple[int, int], None] = {}
    for start, stop in first:
        for segment in segments:
            if segment[0] < stop and start < segment[1]:
                order[segment] = None
    return [*order, *(segment for segment in segments if segment not in order)]


def _made(take: OpenTake, start: int, stop: int) -> Iterator[tuple[int, bytes]]:
    for at, planes in enumerate(take.colours(start, stop, PREVIEW_PX), start):
        yield at, jpeg_of(planes, _QUALITY)
