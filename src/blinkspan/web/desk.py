"""What a running page holds: the library's place, the frames on the shelf, the work in hand."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from fastapi import Depends, Request

from blinkspan.jobs.take_frames import FrameShelf


@dataclass(frozen=True, slots=True)
class Desk:
    """Made once by the app; routes and pages are handed it.

    Attributes
    ----------
    person : str
        Whose name corrections carry where the page is told no other.
    """

    library: Path
    frames: FrameShelf
    person: str


def desk_of(request: Request) -> Desk:
    """Return the desk of the app that a request came to."""
    desk: Desk = request.app.state.desk
    return desk


TheDesk = Annotated[Desk, Depends(desk_of)]
