"""Where the film of a kept take lies."""

from pathlib import Path

from blinkspan.errors import NotInLibrary
from blinkspan.library import Library
from blinkspan.library.kept import KeptTake


def clip_there(opened: Library, take: KeptTake) -> Path:
    """Return where the film of a take lies, which is there.

    Raises
    ------
    NotInLibrary
        The film is not in this library, or gone.
    """
    path = opened.clip(take)
    if not path.is_file():
        raise NotInLibrary(
            f"the clip of {take.name!r} is gone from {path.parent}; put it back or add it again"
        )
    return path
