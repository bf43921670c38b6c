"""Any frame of a take, quickly, for a person who steps and jumps through it.

The file stays open and the decoder where it stands: a step on decodes one frame,
a jump begins at the last key frame before. The last frames decoded are kept as
the decoder left them, so that steps to and fro cost nothing.
"""

from collections import OrderedDict
from collections.abc import Callable, Generator

from av.container import InputContainer
from av.video.frame import VideoFrame
from av.video.reformatter import VideoReformatter
from av.video.stream import VideoStream

from blinkspan.errors import BadSetting, UnreadableTake
from blinkspan.footage.colour import ColourPlanes, colour_planes
from blinkspan.footage.file import decoded, open_container
from blinkspan.footage.frames import Luma
from blinkspan.footage.luma import luma_plane
from blinkspan.footage.reel import Reel

_KEPT_BYTES = 40 * 10**6  # 12 frames of 1920x1080; of so many steps back one decodes anew
_FEWEST_KEPT = 4


class GivenUp(Exception):
    """Nobody wants the frame any more."""


class Lookup:
    """Frames of one take at random; for one thread at a time, closed by :meth:`close`."""

    def __init__(self, reel: Reel) -> None:
        self._reel = reel
        self._converter = VideoReformatter()
        self._kept: OrderedDict[int, VideoFrame] = OrderedDict()
        self._file: tuple[InputContainer, VideoStream] | None = None
        self._ahead: Generator[VideoFrame, None, None] | None = None
        self._next = 0

    def colour(
        self,
        frame: int,
        width_px: int | None = None,
        wanted: Callable[[], bool] = lambda: True,
    ) -> ColourPlanes:
        """Return a frame in colour, for the eye.

        Parameters
        ----------
        width_px : int | None
            How wide at most.
        wanted : callable
            Asked before each frame that is decoded on the way.

        Raises
        ------
        BadSetting
            There is no such frame.
        GivenUp
            It is not wanted any more.
        UnreadableTake
            It cannot be decoded.
        """
        found = self._frame(frame, wanted)
        return colour_planes(found, self._reel.turn, self._converter, width_px)

    def luma(self, frame: int, wanted: Callable[[], bool] = lambda: True) -> Luma:
        """Return a frame's luma plane as it was stored, shape (height, width)."""
        return luma_plane(self._frame(frame, wanted), self._reel.turn).copy()

    def rest(self) -> None:
        """Let go of the file and of the kept frames until a frame is asked for again."""
        self._kept.clear()
        if self._ahead is not None:
            self._ahead.close()
            self._ahead = None
        if self._file is not None:
            self._file[0].close()
            self._file = None

    def _frame(self, frame: int, wanted: Callable[[], bool]) -> VideoFrame:
        index = self._reel.index
        if not 0 <= frame < self._reel.frames:
            raise BadSetting(
                f"there is no frame {frame} in a take of {self._reel.frames} frames; "
                f"give 0 to {self._reel.frames - 1}"
            )
        if frame not in self._kept:
            key = index.key_at_or_before(frame)
            if self._ahead is None or not index.first_shown_from(key) <= self._next <= frame:
                self._begin(key)
            self._decode_to(frame, wanted)
        self._kept.move_to_end(frame)
        return self._kept[frame]

    def _begin(self, key: int) -> None:
        """Place the decoder at a key frame."""
        if self._ahead is not None:
            self._ahead.close()
        self._ahead = self._frames_from(key)
        self._next = self._reel.index.first_shown_from(key)

    def _decode_to(self, frame: int, wanted: Callable[[], bool]) -> None:
        assert self._ahead is not None
        stamps = self._reel.index.stamps
        while self._next <= frame:
            if not wanted():
                raise GivenUp
            found = next(self._ahead, None)
            stamp = int(stamps[self._next])
            if found is not None and (found.pts is None or found.pts < stamp):
                continue  # decoded only because later frames build on it
            if found is None or found.pts != stamp or found.is_corrupt:
                at, self._next = self._next, 0
                self.rest()
                raise UnreadableTake(
                    f"{self._reel.path}: frame {at} cannot be decoded; "
                    "copy the take again from the camera's card"
                )
            self._keep(self._next, found)
            self._next += 1

    def _keep(self, number: int, frame: VideoFrame) -> None:
        self._kept[number] = frame
        size = sum(plane.buffer_size for plane in frame.planes)
        most = max(_FEWEST_KEPT, _KEPT_BYTES // max(size, 1))
        while len(self._kept) > most:
            self._kept.popitem(last=False)

    def _frames_from(self, key: int) -> Generator[VideoFrame, None, None]:
        """Yield frames in order of time from a key frame on, from the file held open."""
        while key > 0:
            container, stream = self._file or self._opened()
            packets = self._reel.packets_from(key, container, stream)
            if packets is not None:
                yield from decoded(packets)
                return
            key -= 1  # the file's own table of contents points too late: start a key earlier
        container, stream = self._opened()  # at its very first packet
        yield from decoded(container.demux(stream))

    def _opened(self) -> tuple[InputContainer, VideoStream]:
        """Open the file anew."""
        if self._file is not None:
            self._file[0].close()
        container = open_container(self._reel.path)
        self._file = container, self._reel.prepared(container)
        return self._file
