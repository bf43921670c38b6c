"""The pictures of a take unrolled from any frame on, each held to its time in the index.

Every unrolling opens the file anew, so several may run side by side.
"""

from collections.abc import Callable, Generator, Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import TypeVar

from av.container import InputContainer
from av.error import FFmpegError
from av.packet import Packet
from av.video.frame import VideoFrame
from av.video.reformatter import VideoReformatter
from av.video.stream import VideoStream

from blinkspan.errors import UnreadableTake
from blinkspan.footage.colour import ColourPlanes, colour_planes
from blinkspan.footage.file import decoded, open_container, video_stream
from blinkspan.footage.frames import Luma, PictureFormat
from blinkspan.footage.luma import Turn, luma_plane
from blinkspan.footage.packets import PacketIndex

_Shown = TypeVar("_Shown")

# Threads wait for each other's pictures: with so many to a processor, none stands still
# (docs/benchmarks.md). Each holds a picture.
_THREADS_A_PROCESSOR, _MOST_THREADS = 4, 16
# "noref" is FFmpeg's word for pictures on which no other builds.
_EDGES_LEFT = {"skip_loop_filter": "noref"}


@dataclass(frozen=True, slots=True)
class Reel:
    """What is needed to decode a take again: the file, its index and how its picture is shown.

    Attributes
    ----------
    deblocked : bool
        Whether every picture has the edges of its blocks smoothed, as the codec asks. Where not,
        pictures on which no other builds are left as they are: decoding takes up to a tenth less,
        nothing is passed on to other pictures, and the mean of an area stays what it was to a
        few hundredths of a code.
    """

    path: Path
    index: PacketIndex
    picture: PictureFormat
    turn: Turn
    threads: int
    deblocked: bool = True

    @property
    def frames(self) -> int:
        """The number of frames that the index promises."""
        return int(self.index.stamps.size)

    def planes(self, start: int, stop: int) -> Generator[Luma, None, None]:
        """Yield the luma planes of frames start to stop, each valid until the next step only.

        Raises
        ------
        UnreadableTake
            The decoder does not give a frame that the index promises, or the
            picture changes size on the way.
        """
        return self._whole(start, stop, self._plane)

    def colours(
        self, start: int, stop: int, width_px: int | None = None
    ) -> Generator[ColourPlanes, None, None]:
        """Yield frames start to stop in colour, for the eye, and so wide at most.

        Raises
        ------
        UnreadableTake
            The decoder does not give a frame that the index promises.
        """
        converter = VideoReformatter()
        return self._whole(
            start, stop, lambda frame: colour_planes(frame, self.turn, converter, width_px)
        )

    def planes_there(self, start: int, stop: int) -> Generator[Luma, None, None]:
        """Yield the same luma planes, but end at the first that the decoder does not give.

        Raises
        ------
        UnreadableTake
            The picture changes size on the way.
        """
        return self._there(start, stop, self._plane)

    def _whole(
        self, start: int, stop: int, shown: Callable[[VideoFrame], _Shown]
    ) -> Generator[_Shown, None, None]:
        wanted = start
        with closing(self._there(start, stop, shown)) as planes:
            for each in planes:
                yield each
                wanted += 1
        if wanted < stop:
            raise self._lost(wanted)

    def _there(
        self, start: int, stop: int, shown: Callable[[VideoFrame], _Shown]
    ) -> Generator[_Shown, None, None]:
        if start == stop:
            return
        wanted = start
        with closing(self._frames_from(self.index.key_at_or_before(start))) as frames:
            for frame in frames:
                stamp = int(self.index.stamps[wanted])
                if frame.pts is None or frame.pts < stamp:
                    continue  # decoded only because later frames build on it
                if frame.pts != stamp or frame.is_corrupt:
                    return
                yield shown(frame)
                wanted += 1
                if wanted == stop:
                    return

    def _frames_from(self, key: int) -> Generator[VideoFrame, None, None]:
        """Yield frames in order of time from a key frame on, damaged packets passed over."""
        with open_container(self.path) as container:
            stream = self.prepared(container)
            stream.thread_count = _frame_threads(self.threads)
            if key == 0:
                yield from decoded(container.demux(stream))
                return
            if (packets := self.packets_from(key, container, stream)) is not None:
                yield from decoded(packets)
                return
        # The file's own table of contents points too late: start a key earlier.
        yield from self._frames_from(key - 1)

    def prepared(self, container: InputContainer) -> VideoStream:
        """Return the film in an opened file, set to be decoded with the threads of this reel."""
        stream = video_stream(container, self.path)
        stream.thread_type = "FRAME"
        stream.thread_count = self.threads
        if not self.deblocked:
            stream.codec_context.options = _EDGES_LEFT
        return stream

    def packets_from(
        self, key: int, container: InputContainer, stream: VideoStream
    ) -> "Iterator[Packet[VideoStream]] | None":
        """Return the packets from a key frame on, or None where the file leads past it."""
        for target in self.index.keys[key].seek_targets():
            packets = container.demux(stream)
            try:
                container.seek(target, stream=stream)
                landed = next(packets)
            except FFmpegError:
                continue
            if self.index.lies_by(landed.pts, key):
                return chain([landed], packets)
        return None

    def _plane(self, frame: VideoFrame) -> Luma:
        """Return a frame's plane, which must look like the first one's."""
        luma = luma_plane(frame, self.turn)
        if luma.shape != (self.picture.height_px, self.picture.width_px):
            raise UnreadableTake(
                f"{self.path}: the picture changes size to {frame.width}x{frame.height} on the "
                "way; give one take a file"
            )
        return luma

    def _lost(self, frame: int) -> UnreadableTake:
        """Return the refusal of a take that gives fewer frames than it promises."""
        promised = self.index.stamps.size
        stamps = set(self.index.stamps.tolist())
        good = {each.pts for each in self._frames_from(0) if not each.is_corrupt} & stamps
        if len(good) == promised:
            return UnreadableTake(
                f"{self.path}: the times in the file do not follow the order of its pictures; "
                "save it again from the camera as mp4, mov or mkv"
            )
        return UnreadableTake(
            f"{self.path}: frame {frame} cannot be decoded, {len(good)} of {promised} frames can; "
            "copy the take again from the camera's card"
        )


def _frame_threads(processors: int) -> int:
    """Return how many frames to decode at once on so many processors.

    Examples
    --------
    >>> [_frame_threads(processors) for processors in (1, 2, 4, 32)]
    [1, 8, 16, 33]
    """
    if processors == 1:
        return 1
    return max(processors + 1, min(_THREADS_A_PROCESSOR * processors, _MOST_THREADS))
