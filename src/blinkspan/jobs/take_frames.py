"""Any frame of a kept take as a picture that a page can show, at once where it was made before.

A take stays open while it is looked at. Pictures are kept as JPEG, since raw
frames would fill the memory within a second of film; the room for them is
bounded. Around every press that waits for a person the frames are made ahead:
a jump into a long group of pictures has to decode from the key frame on.
"""

import threading
from collections import OrderedDict
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import simplejpeg

from blinkspan.errors import BlinkspanError, NotInLibrary
from blinkspan.footage.frames import Clock, Luma, PictureFormat
from blinkspan.footage.video import OpenTake, open_take
from blinkspan.library import Library
from blinkspan.publish.pictures import Grey, grey
from blinkspan.traces.regions import Rectangle

_QUALITY = 85
_ROOM_BYTES = 256 * 2**20  # about 1,300 pictures of 1920 x 1080
_OPEN_TAKES = 3


@dataclass(frozen=True, slots=True)
class View:
    """What of a frame is shown: a part of it or all, and how wide at most."""

    crop: Rectangle | None = None
    width_px: int | None = None


WHOLE = View()


class TakeFrames:
    """One open take from which pictures are made; closed by :meth:`close`."""

    def __init__(self, take: OpenTake, sha256: str) -> None:
        self._take = take
        self._turn = threading.Lock()  # an open take hands out one frame at a time
        self.sha256 = sha256

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

    def luma(self, frame: int) -> Luma:
        """Return one frame's luma plane."""
        with self._turn:
            return self._take.luma(frame)

    def stretch(self, start: int, stop: int) -> Iterator[tuple[int, Luma]]:
        """Yield frames with their numbers; the file is opened anew, so nothing has to wait."""
        return enumerate(self._take.stream(max(0, start), min(stop, self.frames)), max(0, start))

    def close(self) -> None:
        """Let go of the file once nobody reads from it."""
        with self._turn:
            self._take.close()


class FrameShelf:
    """Pictures of the takes of one library, the latest asked for kept; safe to share by threads."""

    def __init__(self, library: Path, room_bytes: int = _ROOM_BYTES) -> None:
        self._library = library
        self._room = room_bytes
        self._held = 0
        self._pictures: OrderedDict[tuple[str, int, View], bytes] = OrderedDict()
        self._open: OrderedDict[int, TakeFrames] = OrderedDict()
        self._lock = threading.RLock()
        self._stop = threading.Event()
        self._ahead: dict[int, threading.Event] = {}

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
                    gone, frames = self._open.popitem(last=False)
                    self._ahead.pop(gone, threading.Event()).set()
                    frames.close()
            self._open.move_to_end(take_id)
            return self._open[take_id]

    def picture(self, take_id: int, frame: int, view: View = WHOLE) -> bytes:
        """Return a frame as JPEG.

        Raises
        ------
        BadSetting, BadRegion, NotInLibrary, UnreadableTake
            There is no such frame or part of it, or it cannot be had.
        """
        frames = self.take(take_id)
        key = (frames.sha256, frame, view)
        with self._lock:
            if key in self._pictures:
                self._pictures.move_to_end(key)
                return self._pictures[key]
        made = picture_of(frames.luma(frame), frames.format, view)
        self._keep(key, made)
        return made

    def holds(self, take_id: int, frame: int, view: View = WHOLE) -> bool:
        """Return whether a picture is there already."""
        return (self.take(take_id).sha256, frame, view) in self._pictures

    def make_ahead(self, take_id: int, stretches: Iterable[tuple[int, int]]) -> None:
        """Begin to make the pictures of stretches of frames, in place of an earlier such order.

        Stops by itself when half of the room is filled, so that what is looked at now stays.
        """
        with self._lock:
            self._ahead.pop(take_id, threading.Event()).set()
            halt = self._ahead[take_id] = threading.Event()
        threading.Thread(
            target=self._make, args=(take_id, list(stretches), halt), daemon=True
        ).start()

    def close(self) -> None:
        """Stop making pictures and let go of every file."""
        self._stop.set()
        with self._lock:
            for halt in self._ahead.values():
                halt.set()
            for frames in self._open.values():
                frames.close()
            self._open.clear()
            self._pictures.clear()
            self._held = 0

    def _make(self, take_id: int, stretches: list[tuple[int, int]], halt: threading.Event) -> None:
        made_bytes = 0
        with suppress(BlinkspanError):  # a frame that cannot be had is told when it is asked for
            frames = self.take(take_id)
            for start, stop in joined(stretches):
                for frame, luma in frames.stretch(start, stop):
                    if halt.is_set() or self._stop.is_set() or made_bytes > self._room / 2:
                        return
                    key = (frames.sha256, frame, WHOLE)
                    if key not in self._pictures:
                        made = picture_of(luma, frames.format, WHOLE)
                        self._keep(key, made)
                        made_bytes += len(made)

    def _keep(self, key: tuple[str, int, View], made: bytes) -> None:
        with self._lock:
            self._held += len(made) - len(self._pictures.pop(key, b""))
            self._pictures[key] = made
            while self._held > self._room:
                _, gone = self._pictures.popitem(last=False)
                self._held -= len(gone)


def joined(stretches: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return stretches of frames with those joined that follow one another and overlap.

    Examples
    --------
    >>> joined([(0, 10), (8, 20), (50, 60)])
    [(0, 20), (50, 60)]
    """
    whole: list[tuple[int, int]] = []
    for start, stop in stretches:
        if whole and whole[-1][0] <= start <= whole[-1][1]:
            whole[-1] = (whole[-1][0], max(stop, whole[-1][1]))
        else:
            whole.append((start, stop))
    return whole


def picture_of(luma: Luma, shape: PictureFormat, view: View) -> bytes:
    """Return what a view shows of a luma plane, as JPEG in grey.

    Raises
    ------
    BadRegion
        The part lies outside the picture.
    """
    if view.crop is not None:
        box = view.crop.within(shape.width_px, shape.height_px, "asked for")
        luma = luma[box.y : box.y + box.height, box.x : box.x + box.width]
    shown = _grey(luma, shape)
    height, width = shown.shape
    if view.width_px is not None and view.width_px < width:
        size = (view.width_px, max(1, round(height * view.width_px / width)))
        shown = cv2.resize(shown, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
    made: bytes = simplejpeg.encode_jpeg(
        np.ascontiguousarray(shown)[:, :, None], _QUALITY, "GRAY", "Gray"
    )
    return made


def _grey(luma: Luma, shape: PictureFormat) -> Grey:
    if shape.bit_depth > 8:
        return grey(luma, shape)
    table = grey(np.arange(256, dtype=np.uint8), shape)  # OpenCV looks up four times as fast
    return np.asarray(cv2.LUT(np.ascontiguousarray(luma), table), np.uint8)


def _opened(library: Path, take_id: int) -> TakeFrames:
    with Library.open(library) as opened:
        take = opened.take(take_id)
        clip = opened.clip(take)
        run = (opened.runs(take) or (None,))[-1]
        said = {} if run is None else run.parameters
    if not clip.is_file():
        raise NotInLibrary(
            f"the clip of {take.name!r} is gone from {clip.parent}; put it back or add it again"
        )
    return TakeFrames(open_take(clip, said.get("capture_rate_hz")), take.sha256)
