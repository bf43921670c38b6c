"""What is known of displays and cameras: look at it, add to it, say it anew."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from blinkspan.errors import NotInLibrary
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.library import Library
from blinkspan.library.kept import KeptCamera, KeptDisplay

__all__ = ["Gear", "KeptCamera", "KeptDisplay", "gear", "say_camera", "say_display"]

_Kept = TypeVar("_Kept", KeptDisplay, KeptCamera)


@dataclass(frozen=True, slots=True)
class Gear:
    """The profiles by name, and how many setups name each."""

    displays: tuple[tuple[KeptDisplay, int], ...]
    cameras: tuple[tuple[KeptCamera, int], ...]


def gear(library: Path) -> Gear:
    """Return every profile of a library."""
    with Library.open(library) as opened:
        setups = [kept.setup for kept in opened.find_setups()]
        displays = Counter(setup.display for setup in setups)
        cameras = Counter(setup.camera for setup in setups)
        return Gear(
            tuple((kept, displays[kept.name]) for kept in opened.displays()),
            tuple((kept, cameras[kept.name]) for kept in opened.cameras()),
        )


def say_display(
    library: Path, name: str, known: MeasureSettings, notes: str, seen: int | None
) -> KeptDisplay:
    """Return a display profile after keeping it.

    Parameters
    ----------
    seen : int | None
        The revision that is said anew; None for a profile that is not there yet.

    Raises
    ------
    LibraryConflict
        The name is taken, or the profile was changed since it was seen.
    NotInLibrary
        A profile to be said anew is not there.
    """
    with Library.open(library) as opened:
        over = None if seen is None else replace(_named(opened.displays(), name), revision=seen)
        return opened.keep_display(name, known.display, notes, over)


def say_camera(
    library: Path, name: str, known: MeasureSettings, notes: str, seen: int | None
) -> KeptCamera:
    """Return a camera profile after keeping it, as `say_display` keeps a display's."""
    with Library.open(library) as opened:
        over = None if seen is None else replace(_named(opened.cameras(), name), revision=seen)
        return opened.keep_camera(name, known.camera, notes, over)


def _named(kept: Sequence[_Kept], name: str) -> _Kept:
    found = next((each for each in kept if each.name == name), None)
    if found is None:
        raise NotInLibrary(f"no profile is named {name!r} any more; add it as a new one")
    return found
