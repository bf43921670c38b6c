"""Bring takes into the library, into one setup of a study."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from blinkspan.errors import (
    BlinkspanError,
    LibraryConflict,
    NotInLibrary,
    UnreadableTake,
    UnwritableOutput,
)
from blinkspan.footage.video import open_take
from blinkspan.jobs.same_spot import SpotCheck, check_spot
from blinkspan.library import Library
from blinkspan.library.kept import Keeping, KeptSetup, KeptTake
from blinkspan.study.setup import Setup, Study

# What cameras and phones write; anything else in a folder is passed over.
CLIP_ENDINGS = frozenset(
    {".mp4", ".mov", ".m4v", ".mkv", ".avi", ".mts", ".m2ts", ".mxf", ".webm", ".3gp"}
)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one file: a take, new or kept before, or the refusal of it.

    ``spot`` tells of a new take whether it seems to be shot at the setup's spot.
    """

    path: Path
    take: KeptTake | None
    new: bool
    refusal: str | None
    spot: SpotCheck | None = None


def add(
    library: Path,
    paths: Sequence[Path],
    study: str,
    setup: Setup,
    keeping: str = "copy",
    progress: Callable[[int], None] = lambda _bytes: None,
) -> Iterator[Outcome]:
    """Yield what became of each file, once it is safely kept.

    Study and setup are made where they are not there yet. Running it again
    after it was cut off passes over what is kept already.

    Parameters
    ----------
    paths : sequence of Path
        Clips, or folders whose clips are taken in with those of their subfolders.
    setup : Setup
        An existing setup may be named alone; a condition that differs from it is refused.
    keeping : str
        "copy", "link" (a hard link, on the same disk) or "in place".
    progress : callable
        Told the bytes read since the last call: each new clip is read twice.

    Raises
    ------
    LibraryConflict
        The setup is kept with other conditions.
    UnwritableOutput
        The library cannot be written, as on a full disk: what came before is kept.
    """
    clips = clips_of(paths)
    with Library.open(library) as opened:
        kept = named_setup(opened, study, setup)
        for clip in clips:
            yield bring(opened, clip, kept, Keeping(keeping), progress)


def add_sent(library: Path, clip: Path, name: str, study: str, setup: Setup) -> Outcome:
    """Return what became of a clip that was sent under a name; the file given may go afterwards."""
    with Library.open(library) as opened:
        return bring(opened, clip, named_setup(opened, study, setup), Keeping.COPY, name=name)


def bring(
    library: Library,
    clip: Path,
    setup: KeptSetup,
    keeping: Keeping,
    progress: Callable[[int], None] = lambda _bytes: None,
    name: str | None = None,
) -> Outcome:
    """Return what became of one clip; only a library that cannot be written ends the work.

    Parameters
    ----------
    name : str | None
        What the take is called; by default as its file.
    """
    try:
        with open_take(clip):
            pass  # a file that is no take is told now, not when it is measured
        added = library.add_take(clip, setup, keeping, progress, name)
        spot = check_spot(library, added.take) if added.new else None
    except UnwritableOutput:
        raise
    except BlinkspanError as refusal:
        return Outcome(clip, None, False, str(refusal))
    return Outcome(clip, added.take, added.new, None, spot)


def clips_of(paths: Sequence[Path]) -> list[Path]:
    """Return the clips named, and those in the folders named, each once.

    Raises
    ------
    UnreadableTake
        A path is not there, or a folder holds no clip.
    """
    clips: dict[Path, None] = {}
    for path in paths:
        if not path.exists():
            raise UnreadableTake(f"{path}: there is no such file or folder; check the path")
        if not path.is_dir():
            clips[path] = None
            continue
        found = sorted(file for file in path.rglob("*") if is_clip(file))
        if not found:
            raise UnreadableTake(f"{path} holds no clip; name a folder with films of a camera")
        clips.update(dict.fromkeys(found))
    return list(clips)


def is_clip(file: Path) -> bool:
    """Return whether a file in a folder looks like a clip, by its name alone."""
    return file.suffix.lower() in CLIP_ENDINGS and not file.name.startswith(".") and file.is_file()


def named_setup(library: Library, study: str, setup: Setup) -> KeptSetup:
    """Return the setup of that name in a study, both made where they are not there yet.

    Raises
    ------
    LibraryConflict
        It is kept already with another condition or profile than one that is given;
        what had not been said of it is filled in.
    """
    try:
        library.study(study)
    except NotInLibrary:
        library.add_study(Study(study))
    try:
        kept = library.setup(study, setup.name)
    except NotInLibrary:
        return library.add_setup(study, setup)
    held = asdict(kept.setup.conditions) | {
        "display": kept.setup.display,
        "camera": kept.setup.camera,
    }
    asked = asdict(setup.conditions) | {"display": setup.display, "camera": setup.camera}
    for name, words in asked.items():
        if words and held[name] and words != held[name]:
            raise LibraryConflict(
                f"the setup {setup.name!r} is kept with the {name.replace('_', ' ')} "
                f"{held[name]!r}, not {words!r}; give the same, or a new name"
            )
    return _completed(library, kept, setup)


def _completed(library: Library, kept: KeptSetup, asked: Setup) -> KeptSetup:
    """Return a kept setup after filling in what had not been said of it."""
    old = kept.setup
    unsaid = {
        name: words
        for name, words in asdict(asked.conditions).items()
        if words and not getattr(old.conditions, name)
    }
    new = replace(
        old,
        conditions=replace(old.conditions, **unsaid),
        display=old.display or asked.display,
        camera=old.camera or asked.camera,
    )
    return kept if new == old else library.edit_setup(kept, new)
