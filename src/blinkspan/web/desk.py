"""What a running page holds: the library's place, the frames on the shelf, the work in hand."""

from functools import cached_property
from pathlib import Path
from threading import Event, Lock
from typing import TYPE_CHECKING, Annotated

from fastapi import Depends, Request

from blinkspan.errors import NotInLibrary
from blinkspan.jobs.reviews import Reviews
from blinkspan.jobs.take_frames import FrameShelf

if TYPE_CHECKING:
    from blinkspan.jobs.background import Background


class Desk:
    """Made once by the app; routes and pages are handed it.

    Attributes
    ----------
    person : str
        Whose name corrections carry where the page is told no other.
    folders : tuple of Path
        From where clips may be added: what the one who started the page named.
    ending : threading.Event
        Set when the page is about to end: answers that never end by themselves do then.
    """

    def __init__(self, library: Path, person: str, folders: tuple[Path, ...] = ()) -> None:
        self.library = library
        self.frames = FrameShelf(library)
        self.reviews = Reviews(library)
        self.person = person
        self.folders = folders
        self.ending = Event()
        self._making = Lock()

    @property
    def work(self) -> "Background":
        """The work in hand; all that measures is loaded when it is first asked for."""
        with self._making:
            return self._work

    @cached_property
    def _work(self) -> "Background":
        from blinkspan.jobs.background import Background

        return Background(self.library)

    def folder(self, number: int) -> Path:
        """Return a folder that clips may be taken from, by its number; never by its path."""
        if not 0 <= number < len(self.folders):
            raise NotInLibrary(f"no folder has the number {number}; see which there are")
        return self.folders[number]

    def close(self) -> None:
        """End the work and let go of every file."""
        self.ending.set()
        if "_work" in vars(self):
            self.work.close()
        self.frames.close()
        self.reviews.close()


def desk_of(request: Request) -> Desk:
    """Return the desk of the app that a request came to."""
    desk: Desk = request.app.state.desk
    return desk


TheDesk = Annotated[Desk, Depends(desk_of)]
