"""What a running page holds: the library's place, the frames on the shelf, the work in hand."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from fastapi import Depends, Request

from blinkspan.errors import NotInLibrary
from blinkspan.jobs.background import Background
from blinkspan.jobs.take_frames import FrameShelf


@dataclass(frozen=True, slots=True)
class Desk:
    """Made once by the app; routes and pages are handed it.

    Attributes
    ----------
    person : str
        Whose name corrections carry where the page is told no other.
    folders : tuple of Path
        From where clips may be added: what the one who started the page named.
    """

    library: Path
    frames: FrameShelf
    work: Background
    person: str
    folders: tuple[Path, ...] = ()

    def folder(self, number: int) -> Path:
        """Return a folder that clips may be taken from, by its number; never by its path."""
        if not 0 <= number < len(self.folders):
            raise NotInLibrary(f"no folder has the number {number}; see which there are")
        return self.folders[number]

    def close(self) -> None:
        """End the work and let go of every file."""
        self.work.close()
        self.frames.close()


def desk_of(request: Request) -> Desk:
    """Return the desk of the app that a request came to."""
    desk: Desk = request.app.state.desk
    return desk


TheDesk = Annotated[Desk, Depends(desk_of)]
