"""Reviews of a library's takes for those who look at one again and again, as the page does.

The library stays open, since opening one and wording its questions anew costs
more than the answers. A review is kept until something it shows changes, which
one short question tells; after a correction only what the correction moved is
worked out again.
"""

from collections import OrderedDict
from pathlib import Path
from threading import RLock
from typing import Any, Unpack

from blinkspan.errors import NotInLibrary
from blinkspan.jobs.kept_clip import clip_there
from blinkspan.jobs.review import Said, correct_in
from blinkspan.jobs.take_review import TakeReview, review_in
from blinkspan.library import Library
from blinkspan.library.kept import KeptCorrection, KeptTake

_MOST_KEPT = 8

_Files = tuple[tuple[int, int], ...]


class Reviews:
    """The latest reviews of one library; safe to share by threads, closed by :meth:`close`."""

    def __init__(self, library: Path) -> None:
        self._folder = library
        self._lock = RLock()
        self._library: Library | None = None
        self._files: _Files = ()
        self._kept: OrderedDict[int, tuple[tuple[Any, ...], TakeReview]] = OrderedDict()

    def of(self, take_id: int) -> TakeReview:
        """Return the review of a take as it stands now.

        Raises
        ------
        NotInLibrary
            No take has that key.
        UnusableLibrary
            The library is gone, or became another.
        """
        with self._lock:
            opened = self._opened()
            stamp = opened.stamp(take_id)
            before, review = self._kept.get(take_id, (None, None))
            if review is None or before != stamp:
                review = review_in(opened, take_id, review)
                self._kept[take_id] = (stamp, review)
            self._kept.move_to_end(take_id)
            while len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)
            return review

    def film_lost(self, take: KeptTake) -> str | None:
        """Return in words why the film of a take cannot be had, or None where it is there."""
        try:
            clip_there(self._opened(), take)
        except NotInLibrary as lost:
            return str(lost)
        return None

    def correct(self, press_id: int, **said: Unpack[Said]) -> KeptCorrection:
        """Return a person's correction of one press after keeping it."""
        return correct_in(self._opened(), press_id, **said)

    def undo(
        self, correction_id: int, *, by: str, why: str = "", seen: int | None = None
    ) -> KeptCorrection:
        """Return the undoing of a correction after keeping it."""
        opened = self._opened()
        return opened.undo(opened.correction(correction_id), by=by, why=why, seen=seen)

    def close(self) -> None:
        """Give back the connections and forget the reviews."""
        with self._lock:
            self._kept.clear()
            if self._library is not None:
                self._library.close()
                self._library = None

    def _opened(self) -> Library:
        """Return the library; opened anew where another came into its place."""
        with self._lock:
            if self._library is not None and self._files != _files(self._library):
                self.close()
            if self._library is None:
                self._library = Library.open(self._folder)
                self._files = _files(self._library)
            return self._library


def _files(library: Library) -> _Files:
    """Return which files a library is made of just now; none where they are gone."""
    try:
        found = [path.stat() for path in library.own_files()]
    except OSError:
        return ()
    return tuple((each.st_dev, each.st_ino) for each in found)
