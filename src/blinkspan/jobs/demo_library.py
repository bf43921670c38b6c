"""The demonstration's takes and results as a library, to go on with."""

from collections.abc import Sequence
from pathlib import Path

from blinkspan.errors import NotInLibrary
from blinkspan.jobs.batch import keep, planned
from blinkspan.jobs.demo_take import DemoTake, settings_for
from blinkspan.library import Library
from blinkspan.library.kept import Keeping, KeptSetup
from blinkspan.profiles import DisplayProfile
from blinkspan.stage.demo import TITLE, DemoSetup
from blinkspan.stage.truth_of import expected_truth
from blinkspan.study.setup import Conditions, Setup, Study
from blinkspan.traces.regions import Regions

STUDY = Study(TITLE, "Which console answers sooner, and what does the faster mode give?")
_DISPLAY = "the television's game mode"


def keep_demonstration(folder: Path, takes_dir: Path, takes: Sequence[DemoTake]) -> None:
    """Keep takes and results in a library, made where it is not there yet.

    A second run adds nothing that is kept already.

    Raises
    ------
    LibraryConflict, UnusableLibrary, UnwritableOutput
        The folder holds something else or a library of an older schema, or cannot be written.
    """
    with _opened(folder) as library:
        for take in takes:
            setup = _setup(library, take.setup)
            clip = takes_dir / f"{take.setup.scene.name}.mp4"
            kept = library.add_take(clip, setup, Keeping.LINK).take
            truth = expected_truth(take.setup.scene)
            plans, _ = planned(
                library,
                STUDY.name,
                setup.setup.name,
                {"game_rate_hz": truth.game_rate_hz},
                Regions(truth.lamp, truth.panel, truth.watch),
                again=False,
                only=kept.id,
            )
            for plan in plans:
                keep(library, plan, take.measured.measurement)


def _opened(folder: Path) -> Library:
    if folder.is_dir() and any(folder.iterdir()):
        return Library.open(folder)  # its own refusal says what to do, such as an upgrade
    return Library.init(folder)


def _setup(library: Library, setup: DemoSetup) -> KeptSetup:
    """Return the setup as kept, made with its study and its display where they are not there."""
    name = f"{setup.platform}, {setup.mode}"
    try:
        return library.setup(STUDY.name, name)
    except NotInLibrary:
        pass
    if STUDY.name not in {kept.study.name for kept in library.studies()}:
        library.add_study(STUDY)
    known = settings_for(expected_truth(setup.scene)).display
    if _DISPLAY not in {kept.name for kept in library.displays()}:
        library.keep_display(_DISPLAY, DisplayProfile(known.lag_s, known.refresh_hz), setup.display)
    words = Conditions(
        platform=setup.platform,
        title=setup.title,
        build=setup.build,
        mode=setup.mode,
        action=setup.action,
        spot=setup.spot,
        link=setup.link,
        picture_mode="game",
        notes=setup.notes,
    )
    return library.add_setup(STUDY.name, Setup(name, words, _DISPLAY, tags=("demonstration",)))
