"""Open a take: stream its luma planes in order of time, or fetch any one of them.

An index made from the packets alone says which frames there are and when.
Decoding is then held to it, one frame for one stamp: a frame that the index
promises and the decoder cannot give is an error, never a silent gap.
"""

import hashlib
from collections import OrderedDict
from collections.abc import Generator, Iterator
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import Self

from blinkspan.errors import BadSetting, BlinkspanError, UnreadableTake
from blinkspan.footage.clock import (
    dropped_frames,
    given_capture_rate,
    tagged_capture_rate,
    true_clock,
)
from blinkspan.footage.coarseness import coarseness_of
from blinkspan.footage.colour import ColourPlanes
from blinkspan.footage.file import decoded, naming, open_container, video_stream
from blinkspan.footage.frames import Clock, Luma
from blinkspan.footage.luma import picture_format, turn_of
from blinkspan.footage.packets import index_packets, missing_end
from blinkspan.footage.processors import usable_processors
from blinkspan.footage.quantiser import steps_amid
from blinkspan.footage.reel import Reel

_KEPT_FRAMES = 16  # planes kept for stepping to and fro; 33 MB at 1920x1080


class OpenTake:
    """A take opened for reading; made by :func:`open_take`, closed by ``with``.

    Iterating yields each luma plane in order of time, valid until the next
    step only. Every iteration opens the file anew, so that several may run at
    once. :meth:`luma` is not safe to call from two threads at once.

    Attributes
    ----------
    path : Path
    codec : str
    format : PictureFormat
    clock : Clock
    notes : tuple of str
        What a person should know of how the file was read, in plain words.
    reel : Reel
        What another process needs to decode the same frames.
    """

    def __init__(self, reel: Reel, codec: str, clock: Clock, notes: tuple[str, ...]) -> None:
        self.path = reel.path
        self.codec = codec
        self.format = reel.picture
        self.clock = clock
        self.notes = notes
        self.reel = reel
        self._kept: OrderedDict[int, Luma] = OrderedDict()
        self._ahead: Generator[Luma, None, None] | None = None
        self._next = 0

    @property
    def name(self) -> str:
        """The file's name."""
        return self.path.name

    @property
    def frames(self) -> int:
        """The number of frames shown."""
        return int(self.clock.start_s.size)

    @property
    def duration_s(self) -> float:
        """Real time from the start of the first frame to one period after the last."""
        return float(self.clock.start_s[-1]) + self.clock.period_s

    @property
    def dropped_frames(self) -> int:
        """How many frames the camera left out between the frames it kept."""
        return dropped_frames(self.clock)

    @cached_property
    def sha256(self) -> str:
        """The hash of the file's bytes, in hexadecimal; reads the whole file once."""
        with self.path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file and of the kept planes."""
        self._forget()
        self._kept.clear()

    def __iter__(self) -> Iterator[Luma]:
        return self.stream()

    def stream(self, start: int = 0, stop: int | None = None) -> Iterator[Luma]:
        """Yield the luma planes of frames start to stop, stop left out.

        Raises
        ------
        BadSetting
            The range leaves the take.
        UnreadableTake
            A frame cannot be decoded.
        """
        stop = self.frames if stop is None else stop
        self._require(start, stop)
        return self.reel.planes(start, stop)

    def colours(self, start: int, stop: int, width_px: int) -> Iterator[ColourPlanes]:
        """Yield frames start to stop, stop left out, in colour and so wide at most: for the eye.

        Raises
        ------
        BadSetting
            The range leaves the take.
        UnreadableTake
            A frame cannot be decoded.
        """
        self._require(start, stop)
        return self.reel.colours(start, stop, width_px)

    def _require(self, start: int, stop: int) -> None:
        if not 0 <= start <= stop <= self.frames:
            raise BadSetting(
                f"frames {start} to {stop} leave a take of {self.frames} frames; "
                f"give a range within 0 to {self.frames}"
            )

    def segments(self, count: int) -> list[tuple[int, int]]:
        """Return up to ``count`` ranges of frames (start, stop) that begin at key frames.

        Together they hold every frame once; decoding each alone costs hardly
        anything twice. A take with few key frames gives fewer ranges.
        """
        if count < 1:
            raise BadSetting(f"a take cannot be cut into {count} parts; give 1 or more")
        starts = [0]
        keys = self.reel.index.key_frames()
        for part in range(1, count):
            wanted = part * self.frames / count
            nearest = min(keys, key=lambda key: abs(key - wanted), default=0)
            if nearest > starts[-1]:
                starts.append(nearest)
        return list(zip(starts, [*starts[1:], self.frames], strict=True))

    def luma(self, frame: int) -> Luma:
        """Return a copy of one frame's luma plane, shape (height, width).

        Cost is a jump to the key frame at or before it and the decoding from
        there, unless the frame is among the last few or lies just ahead.

        Raises
        ------
        BadSetting
            There is no such frame.
        UnreadableTake
            The frame cannot be decoded.
        """
        if not 0 <= frame < self.frames:
            raise BadSetting(
                f"there is no frame {frame} in a take of {self.frames} frames; "
                f"give 0 to {self.frames - 1}"
            )
        if frame not in self._kept:
            self._fetch(frame)
        self._kept.move_to_end(frame)
        return self._kept[frame].copy()

    def _fetch(self, frame: int) -> None:
        """Decode forward to a frame and keep the last few planes on the way."""
        key = self.reel.index.key_at_or_before(frame)
        first = max(frame - _KEPT_FRAMES // 2, self.reel.index.first_shown_from(key))
        if self._ahead is None or not first <= self._next <= frame:
            self._forget()
            self._ahead, self._next = self.reel.planes(first, self.frames), first
        try:
            while self._next <= frame:
                self._kept[self._next] = next(self._ahead).copy()
                self._next += 1
                if len(self._kept) > _KEPT_FRAMES:
                    self._kept.popitem(last=False)
        except BlinkspanError:
            self._ahead = None
            raise

    def _forget(self) -> None:
        """Close the file that random access holds open."""
        if self._ahead is not None:
            self._ahead.close()
            self._ahead = None


def open_take(
    path: str | Path, capture_rate_hz: float | None = None, *, threads: int | None = None
) -> OpenTake:
    """Return a take opened for reading.

    Parameters
    ----------
    path : str or Path
        A film of any container and codec that FFmpeg reads; it is never written to.
    capture_rate_hz : float, optional
        The rate the camera filmed at, where the file is stamped for slow playback
        and does not say so itself.
    threads : int, optional
        Frames decoded at once; by default one a processor.

    Raises
    ------
    UnreadableTake
        The file is missing, damaged, holds no film, or fewer than 2 frames.
    BadSetting
        The capture rate or the number of threads cannot be right.

    Notes
    -----
    Reads every packet once (10 ms a thousand) and decodes a few frames.
    """
    if threads is not None and threads < 1:
        raise BadSetting(f"{threads} threads cannot decode; give 1 or more")
    given = None if capture_rate_hz is None else given_capture_rate(capture_rate_hz)
    path = Path(path)
    with open_container(path) as container:
        stream = video_stream(container, path)
        tags = {**container.metadata, **stream.metadata}
        codec = stream.codec_context.name
        with naming(path):
            index = index_packets(container, stream)
            tagged, tag_notes = tagged_capture_rate(tags)
            clock = true_clock(
                index.stamps,
                index.time_base_s,
                declared_hz=stream.guessed_rate,
                given=given,
                tagged=tagged,
            )
        notes = [*tag_notes]
        if (note := missing_end(container, stream, index)) is not None:
            notes.append(note)
    if given and tagged and given.rate_hz != tagged.rate_hz:
        notes.append(
            f"the file's own tag says {float(tagged.rate_hz):g} frames a second; "
            f"the given {float(given.rate_hz):g} was used"
        )
    with open_container(path) as container, naming(path):
        stream = video_stream(container, path)
        first = next(decoded(container.demux(stream)), None)
        if first is None:
            raise UnreadableTake(
                f"none of its {index.stamps.size} frames can be decoded; "
                "copy the take again from the camera's card"
            )
        turn = turn_of(first)
        picture, picture_notes = picture_format(first, turn)
    reel = Reel(path, index, picture, turn, threads or usable_processors())
    picture = replace(picture, coarseness=coarseness_of(steps_amid(reel)))
    return OpenTake(replace(reel, picture=picture), codec, clock, (*notes, *picture_notes))
