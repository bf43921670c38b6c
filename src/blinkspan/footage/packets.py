"""The index of a take: which frames it holds and when, from its packets alone.

No picture is decoded: 2400 packets take some 25 ms. Packets outside an edit
list are read but not shown, so they are left out of the frames and kept as
places from which decoding may start.
"""

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from operator import attrgetter

import numpy as np
from av.container import InputContainer
from av.error import FFmpegError
from av.video.stream import VideoStream

from blinkspan.errors import UnreadableTake
from blinkspan.footage.clock import Stamps

_MICROSECONDS = 1_000_000  # FFmpeg states a container's duration in these
_SHORT_BY_S, _SHORT_BY = 0.1, 0.02  # more than a last frame's own length or a header's rounding


@dataclass(frozen=True, slots=True)
class KeyFrame:
    """A place where decoding can start: its two stamps and its place in the order of decoding."""

    stamp: int
    decode_stamp: int | None
    decode_order: int

    def seek_targets(self) -> tuple[int, ...]:
        """Return the stamps to ask the file for, likeliest first.

        Some containers look places up by the time of showing, some by the
        earlier time of decoding.
        """
        if self.decode_stamp is None or self.decode_stamp == self.stamp:
            return (self.stamp,)
        return (self.stamp, self.decode_stamp)


@dataclass(frozen=True, slots=True)
class PacketIndex:
    """What a take promises.

    Attributes
    ----------
    stamps : ndarray of int64, shape (n,)
        Presentation stamps of the frames shown, rising, in ticks.
    time_base_s : Fraction
        Seconds a tick.
    keys : tuple of KeyFrame
        In order of their stamps; includes those an edit list hides.
    decode_order : dict
        Place in the order of decoding of each packet, by its stamp.
    """

    stamps: Stamps
    time_base_s: Fraction
    keys: tuple[KeyFrame, ...]
    decode_order: dict[int, int]

    def key_at_or_before(self, frame: int) -> int:
        """Return the number of the last key from which a frame can be decoded.

        Frames shown from a key on need nothing shown before it, however the
        packets between them are ordered.
        """
        stamp = int(self.stamps[frame])
        return max(bisect_right(self.keys, stamp, key=attrgetter("stamp")) - 1, 0)

    def first_shown_from(self, key: int) -> int:
        """Return the number of the first frame shown at a key or after it."""
        return int(np.searchsorted(self.stamps, self.keys[key].stamp))

    def lies_by(self, stamp: int | None, key: int) -> bool:
        """Whether a packet comes no later than a key in the order of decoding."""
        place = None if stamp is None else self.decode_order.get(stamp)
        return place is not None and place <= self.keys[key].decode_order

    def key_frames(self) -> list[int]:
        """Return the numbers of the shown frames that are keys."""
        key_stamps = np.array([key.stamp for key in self.keys])
        return np.flatnonzero(np.isin(self.stamps, key_stamps)).tolist()


def index_packets(container: InputContainer, stream: VideoStream) -> PacketIndex:
    """Return the index of a stream, read from the container's present place to its end.

    Raises
    ------
    UnreadableTake
        Packets without times, two frames with one time, no key frame, or a
        file that breaks off before the frames its own header lists.
    """
    shown: list[int] = []
    keys: list[KeyFrame] = []
    order: dict[int, int] = {}
    whole = damaged = 0
    try:
        for packet in container.demux(stream):
            if packet.size == 0:  # the flush at the end
                continue
            if packet.is_corrupt:
                damaged += 1
                continue
            if packet.pts is None:
                raise UnreadableTake(
                    "the file keeps no time for some frames; "
                    "save it again from the camera as mp4, mov or mkv"
                )
            whole += 1
            if packet.is_keyframe:
                keys.append(KeyFrame(packet.pts, packet.dts, whole))
            if not keys:
                continue  # nothing before the first key can be decoded
            if packet.pts in order:
                raise UnreadableTake(
                    f"two frames of the file carry the same time ({packet.pts} ticks); "
                    "copy the take again from the camera's card"
                )
            order[packet.pts] = whole
            if not packet.is_discard:
                shown.append(packet.pts)
    except FFmpegError:
        pass  # counted below as packets that are not there
    promised = max(whole + damaged, _promised(stream) if stream.frames else 0)
    if whole < promised:
        raise UnreadableTake(
            f"only {whole} of the file's {promised} frames are there whole; "
            "copy it again from the camera's card"
        )
    if not keys:
        raise UnreadableTake(
            "the file holds no whole picture to start from; copy it again from the camera's card"
        )
    first_key = keys[0]
    stamps = np.array(sorted(s for s in shown if s >= first_key.stamp), dtype=np.int64)
    return PacketIndex(
        stamps=stamps,
        time_base_s=Fraction(stream.time_base or 1),
        keys=tuple(sorted(keys, key=lambda key: key.stamp)),
        decode_order=order,
    )


def missing_end(container: InputContainer, stream: VideoStream, index: PacketIndex) -> str | None:
    """Return a note where the header states a longer film than the frames found, else None.

    Containers written as a stream (mkv) list no frames, so that a file that
    breaks off can only be told by its stated duration; sound may outlast the
    picture, so nothing is held of files with more than one stream.
    """
    if stream.frames or container.duration is None or len(container.streams) > 1:
        return None
    stated_s = container.duration / _MICROSECONDS
    found_s = float(int(index.stamps[-1] - index.stamps[0]) * index.time_base_s)
    if stated_s - found_s <= max(_SHORT_BY_S, _SHORT_BY * stated_s):
        return None
    return (
        f"the header states {stated_s:.2f} s of film and {found_s:.2f} s are there; "
        "the file may have been cut off, so compare it with the camera's card"
    )


def _promised(stream: VideoStream) -> int:
    """Return how many packets the file's own table of contents lists, empty ones left out."""
    return sum(entry.size > 0 for entry in stream.index_entries)
