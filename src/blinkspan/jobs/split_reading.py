"""A take read over several processes at once, split where decoding can start.

Two decoders of one thread each outrun one decoder of two threads by about half
(docs/benchmarks.md), since threads that share a film wait for each other's
pictures. So a take is split at its key frames, every part is decoded and boiled
down in a process of its own, and the pieces are joined. Where parts meet, both
sides decode the same few frames: unless these agree to the last code, the take
is read anew in one piece.
"""

from collections import deque
from collections.abc import Generator
from dataclasses import replace
from queue import Empty, Queue
from typing import Any

from blinkspan.errors import UnreadableTake
from blinkspan.footage.reel import Reel
from blinkspan.footage.video import OpenTake
from blinkspan.jobs.part_reading import PartEnd, Piece, Work
from blinkspan.jobs.reading_worker import ReadingWorker, Told, words_of_ending

# Starting a process costs some 0.3 s, in which this many pixels are decoded (H.264 at 30 Mbit/s).
_START_PX = 2e8
_LEAST_PX = 5 * _START_PX  # a part below that is not worth a process
_MOST_WORKERS = 4  # 70 MB each: a take is to be measured in 600 MB
_PARTS_A_WORKER = 4  # so that one that is slower, or has busier pictures, gets fewer
_UNTOLD_PIECES = 4  # a worker waits when so many of its pieces have not been taken
_FAILED = 1  # how Python ends on an error that nobody expected


def pieces_of(take: OpenTake, work: Work[Piece], processors: int) -> Generator[Piece, None, None]:
    """Yield every frame of a take boiled down, in pieces of any order.

    A piece may come twice where the take had to be read anew; both are the same
    where the first was right. To be closed: that ends the processes.

    Parameters
    ----------
    take : OpenTake
    work : Work
    processors : int
        How many may be used; with 1 no process is started.

    Raises
    ------
    UnreadableTake
        A frame cannot be decoded, or a process that decoded was ended.
    """
    reel = replace(take.reel, deblocked=False)
    parts = parts_of(take, processors)
    if len(parts) > 1:
        try:
            yield from _side_by_side(reel, work, parts, min(processors, _MOST_WORKERS))
        except _NotSplit:
            pass
        else:
            return
    yield from work.pieces(reel.planes(0, take.frames))


def parts_of(take: OpenTake, processors: int) -> list[tuple[int, int]]:
    """Return the ranges of frames to read side by side; one where more would not be faster."""
    workers = min(processors, _MOST_WORKERS)
    pixels = take.frames * take.format.width_px * take.format.height_px
    most = int(pixels / _LEAST_PX)
    if workers < 2 or most < 2:
        return [(0, take.frames)]
    # Whole rounds: all are done at about the same time.
    rounds = max(1, min(_PARTS_A_WORKER, most // (2 * workers)))
    return take.segments(min(most, rounds * workers))


class _NotSplit(Exception):
    """The take has to be read in one piece."""


def _side_by_side(
    reel: Reel, work: Work[Piece], parts: list[tuple[int, int]], most: int
) -> Generator[Piece, None, None]:
    """Yield the pieces of all parts as they come."""
    told: Told = Queue(_UNTOLD_PIECES * most)
    reel = replace(reel, threads=1)
    waiting = deque(parts)
    workers: list[ReadingWorker] = []
    digests: dict[int, bytes] = {}
    try:
        while waiting and len(workers) < most:
            workers.append(_started(reel, work, waiting.popleft(), told))
        left = len(parts)
        while left:
            worker, words = _next(told)
            if words is None:
                raise _refusal(reel, worker)
            if not isinstance(words, PartEnd):
                yield words
                continue
            left -= 1
            if not words.whole or not _agree(digests, words.digests):
                raise _NotSplit
            if waiting:
                worker.read(waiting.popleft())
    finally:
        for worker in workers:
            worker.close()


def _started(reel: Reel, work: Work[Any], part: tuple[int, int], told: Told) -> ReadingWorker:
    try:
        return ReadingWorker(reel, work, part, told)
    except OSError as refusal:
        raise _NotSplit from refusal


def _next(told: Told) -> tuple[ReadingWorker, Any]:
    """Return what is told next; waits in short turns, so that Ctrl-C is heard everywhere."""
    while True:
        try:
            return told.get(timeout=0.5)
        except Empty:
            continue


def _agree(known: dict[int, bytes], more: dict[int, bytes]) -> bool:
    """Note digests of frames; whether they are those that were noted before."""
    return all(known.setdefault(frame, digest) == digest for frame, digest in more.items())


def _refusal(reel: Reel, worker: ReadingWorker) -> Exception:
    """Return what to raise for a process that has ended before its work."""
    code = worker.ending()
    if code == _FAILED:
        return _NotSplit()
    return UnreadableTake(
        f"{reel.path}: a process that read it {words_of_ending(code)}; "
        "the file may be damaged, look at it in a player"
    )
