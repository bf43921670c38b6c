"""Any frame of a kept take as a picture that a page can show, at once where it was made before.

A take stays open while it is looked at. Pictures are kept as JPEG, since raw
frames would fill the memory within a second of film; the room for them is
bounded. Of every frame a small picture is made beside that, once, which is shown
while a jump into a long group of pictures still decodes.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from blinkspan.errors import UnwritableOutput
from blinkspan.footage.frames import Clock, Luma, PictureFormat
from blinkspan.footage.lookup import Lookup
from blinkspan.footage.video import OpenTake, open_take
from blinkspan.jobs.frame_pictures import WHOLE, View, picture_of, plain_picture_of
from blinkspan.jobs.kept_clip import clip_there
from blinkspan.jobs.preview_making import PreviewMaking
from blinkspan.library import Library
from blinkspan.library.preview_cache import PreviewCache

_ROOM_BYTES = 48 * 2**20  # about 300 pictures of 1920 x 1080
_OPEN_TAKES = 3


@dataclass(frozen=True, slots=True)
class KeptClip:
    """Where a take's film lies, its hash, and the rate it is said to be filmed at."""

    path: Path
    sha256: str
    rate_hz: float | None


class TakeFrames:
    """One open take from which pictures are made; closed by :meth:`close`."""

    def __init__(self, take: OpenTake, clip: KeptClip, previews: PreviewCache | None) -> None:
        self._take = take
        self._lookup = Lookup(take.reel)
        self._previews = previews
        self._turn = threading.Lock()  # one decoder, one frame at a time
        self.clip = clip

    @property
    def sha256(self) -> str:
        """The hash of the film's bytes."""
        return self.clip.sha256

    @property
    def format(self) -> PictureFormat:
        """Shape and coding of every frame."""
        return self._take.format

    @property
    def clock(self) -> Clock:
        """True times of the frames."""
        return self._take.clock

    @property
    def frames(self) -> int:
        """How many frames there are."""
        return self._take.frames

    def picture(self, frame: int, view: View, wanted: Callable[[], bool]) -> bytes:
        """Return what a view shows of a frame."""
        if view.plain:
            with self._turn:
                luma = self._lookup.luma(frame, wanted)
            return plain_picture_of(luma, self.format, view)
        with self._turn:
            width_px = None if view.crop else view.width_px
            planes = self._lookup.colour(frame, width_px, wanted)
        return picture_of(planes, self.format, view)

    def preview(self, frame: int) -> bytes | None:
        """Return the small picture of a frame, or None where it is not made yet."""
        return None if self._previews is None else self._previews.get(frame)

    def has_previews(self, start: int, stop: int) -> bool:
        """Return whether every frame from start on, stop left out, has its small picture."""
        return self._previews is not None and not self._previews.missing(start, stop)

    def stretch(self, start: int, stop: int) -> Iterator[tuple[int, Luma]]:
        """Yield frames with their numbers; the file is opened anew, so nothing has to wait."""
        return enumerate(self._take.stream(max(0, start), min(stop, self.frames)), max(0, start))

    def rest(self) -> None:
        """Let go of what decoding holds, until the next frame is asked for."""
        with self._turn:
            self._lookup.rest()

    def close(self) -> None:
        """Let go of the files once nobody reads from them."""
        with self._turn:
            self._lookup.rest()
            self._take.close()
            if self._previews is not None:
                self._previews.close()


class FrameShelf:
    """Pictures of the takes of one library, the latest asked for kept; safe to share by threads."""

    def __init__(self, library: Path, room_bytes: int = _ROOM_BYTES) -> None:
        self._library = library
        self._room = room_bytes
        self._held = 0
        self._pictures: OrderedDict[tuple[str, int, View], bytes] = OrderedDict()
        self._open: OrderedDict[int, TakeFrames] = OrderedDict()
        self._looked_at = 0
        self._lock = threading.RLock()
        self._making: PreviewMaking | None = None

    @property
    def held_bytes(self) -> int:
        """How much memory the kept pictures take; never above the room given."""
        return self._held

    def take(self, take_id: int) -> TakeFrames:
        """Return a take opened for its frames.

        Raises
        ------
        NotInLibrary
            No take has that key, or its clip is not in this library.
        UnreadableTake
            The clip cannot be read.
        """
        with self._lock:
            if take_id not in self._open:
                self._open[take_id] = _opened(self._library, take_id)
                while len(self._open) > _OPEN_TAKES:
                    self._open.popitem(last=False)[1].close()
            self._open.move_to_end(take_id)
            if self._looked_at != take_id:  # the others' frames are not kept in memory, too
                self._looked_at = take_id
                for other in list(self._open.values())[:-1]:
                    other.rest()
            return self._open[take_id]

    def picture(
        self,
        take_id: int,
        frame: int,
        view: View = WHOLE,
        wanted: Callable[[], bool] = lambda: True,
    ) -> bytes:
        """Return a frame as a picture.

        Parameters
        ----------
        wanted : callable
            Asked on the way whether anybody still waits for it.

        Raises
        ------
        BadSetting, BadRegion, NotInLibrary, UnreadableTake
            There is no such frame or part of it, or it cannot be had.
        GivenUp
            Nobody waits for it any more.
        """
        frames = self.take(take_id)
        key = (frames.sha256, frame, view)
        with self._lock:
            if key in self._pictures:
                self._pictures.move_to_end(key)
                return self._pictures[key]
        made = frames.picture(frame, view, wanted)
        self._keep(key, made)
        return made

    def preview(self, take_id: int, frame: int) -> bytes | None:
        """Return the small picture of a frame as JPEG, or None where it is not made yet."""
        return self.take(take_id).preview(frame)

    def make_ahead(self, take_id: int, first: Iterable[tuple[int, int]]) -> None:
        """Begin to make the small pictures of a take, in place of an earlier such order.

        Parameters
        ----------
        first : iterable of (int, int)
            Stretches of frames (start, stop) to begin with.
        """
        frames = self.take(take_id)
        with self._lock:
            if self._making is not None:
                self._making.end()
                self._making = None
            if not frames.has_previews(0, frames.frames):
                clip = frames.clip
                self._making = PreviewMaking(
                    self._library, clip.sha256, clip.path, clip.rate_hz, tuple(first)
                )

    def close(self) -> None:
        """Stop making pictures and let go of every file."""
        with self._lock:
            if self._making is not None:
                self._making.close()
                self._making = None
            for frames in self._open.values():
                frames.close()
            self._open.clear()
            self._pictures.clear()
            self._held = 0

    def _keep(self, key: tuple[str, int, View], made: bytes) -> None:
        with self._lock:
            self._held += len(made) - len(self._pictures.pop(key, b""))
            self._pictures[key] = made
            while self._held > self._room:
                _, gone = self._pictures.popitem(last=False)
                self._held -= len(gone)


def _opened(library: Path, take_id: int) -> TakeFrames:
    with Library.open(library) as opened:
        take = opened.take(take_id)
        path = clip_there(opened, take)
        run = (opened.runs(take) or (None,))[-1]
        said = {} if run is None else run.parameters
    clip = KeptClip(path, take.sha256, said.get("capture_rate_hz"))
    try:
        previews = PreviewCache.of(library, take.sha256)
    except UnwritableOutput:
        previews = None  # on a full disk, or one that may only be read: there are still the frames
    return TakeFrames(open_take(path, clip.rate_hz), clip, previews)
