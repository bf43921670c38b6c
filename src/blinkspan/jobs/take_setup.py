"""What a take's setup says of it, as a person fills it in: conditions, profiles, regions, spot."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path

from blinkspan.errors import NotInLibrary
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.jobs.same_spot import SpotCheck, check_spot
from blinkspan.library import Library
from blinkspan.library.kept import KeptCamera, KeptDisplay, KeptSetup
from blinkspan.study.setup import Conditions
from blinkspan.traces.regions import Regions

CONDITIONS = tuple(field.name for field in fields(Conditions))


@dataclass(frozen=True, slots=True)
class SetupForm:
    """A setup to be filled in.

    Attributes
    ----------
    words : mapping
        Words that setups of this library use, by condition, the most used first.
    """

    kept: KeptSetup
    words: Mapping[str, tuple[str, ...]]
    displays: tuple[KeptDisplay, ...]
    cameras: tuple[KeptCamera, ...]


def setup_form(library: Path, setup_id: int) -> SetupForm:
    """Return a setup with what may be chosen for it."""
    with Library.open(library) as opened:
        every = opened.find_setups()
        kept = _by_id(every, setup_id)
        used = {
            name: [getattr(each.setup.conditions, name) for each in every] for name in CONDITIONS
        }
        words = {
            name: tuple(sorted({*said} - {""}, key=lambda word: (-said.count(word), word)))
            for name, said in used.items()
        }
        return SetupForm(kept, words, opened.displays(), opened.cameras())


def edit_setup(
    library: Path,
    setup_id: int,
    revision: int,
    conditions: Conditions,
    display: str | None,
    camera: str | None,
) -> KeptSetup:
    """Return a setup after its conditions and profiles were said anew.

    Raises
    ------
    LibraryConflict
        It was changed since the revision that the person saw.
    """
    with Library.open(library) as opened:
        kept = _by_id(opened.find_setups(), setup_id)
        seen = replace(kept, revision=revision)
        setup = replace(kept.setup, conditions=conditions, display=display, camera=camera)
        return opened.edit_setup(seen, setup)


def give_regions(library: Path, take_id: int, regions: Regions, by: str) -> None:
    """Keep the regions a person gives for a take, refused where they cannot be right."""
    MeasureSettings(lamp=regions.lamp, panel=regions.panel, watch=regions.watch)
    with Library.open(library) as opened:
        opened.keep_regions(opened.take(take_id), regions, by)


def spot_of(library: Path, take_id: int) -> SpotCheck | None:
    """Return how a take compares with its setup's still, None where there is nothing to compare."""
    with Library.open(library) as opened:
        take = opened.take(take_id)
        run = (opened.runs(take) or (None,))[-1]
        found = None if run is None else opened.measurement(run)
        return check_spot(opened, take, None if found is None else found.regions.panel)


def still_of(library: Path, setup_id: int) -> bytes | None:
    """Return the picture of a setup's spot as PNG, or None where there is none."""
    with Library.open(library) as opened:
        still = opened.still(_by_id(opened.find_setups(), setup_id))
        return None if still is None else still.png


def _by_id(every: tuple[KeptSetup, ...], setup_id: int) -> KeptSetup:
    found = next((each for each in every if each.id == setup_id), None)
    if found is None:
        raise NotInLibrary(f"no setup has the key {setup_id}; list the setups to see their keys")
    return found
