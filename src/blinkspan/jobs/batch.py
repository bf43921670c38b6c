"""Measure what is new or stale in a study, each clip in a process of its own."""

import threading
from collections import deque
from collections.abc import Generator, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from importlib.metadata import version
from multiprocessing.connection import wait
from pathlib import Path
from typing import Any

from blinkspan.errors import BlinkspanError, UnreadableTake
from blinkspan.footage.processors import usable_processors
from blinkspan.jobs.clip_worker import ClipWorker, Work
from blinkspan.jobs.measure import MeasuredTake, Progress, measure_take
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.jobs.same_spot import SpotCheck, check_spot
from blinkspan.library import Library
from blinkspan.library.kept import KeptRun, KeptTake
from blinkspan.library.runs import Inputs
from blinkspan.presses.changes import Changes, changes
from blinkspan.presses.measurement import Measurement
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.regions import Quadrilateral, Regions

# A clip whose process says nothing for so long is taken for hung. Reading tells its
# progress all the time; the sums after it take seconds.
HUNG_S = 300.0
_MOMENT_S = 0.25  # between two looks whether the work is to stop


@dataclass(frozen=True, slots=True)
class Started:
    """A clip has its process now; ``of`` is how many there are to measure in all."""

    take: KeptTake
    number: int
    of: int


@dataclass(frozen=True, slots=True)
class Step:
    """How far a clip is."""

    take: KeptTake
    progress: Progress


@dataclass(frozen=True, slots=True)
class Kept:
    """A clip is measured and its run kept.

    Attributes
    ----------
    changed : Changes | None
        Against the run before; None for a first run.
    spot : SpotCheck | None
        Of a first run: whether the take seems to be shot at the setup's spot.
    """

    take: KeptTake
    run: KeptRun
    changed: Changes | None
    spot: SpotCheck | None


@dataclass(frozen=True, slots=True)
class Failed:
    """A clip could not be measured; the others go on."""

    take: KeptTake
    reason: str


Event = Started | Step | Kept | Failed


@dataclass(frozen=True, slots=True)
class Plan:
    """A take and how it is to be measured."""

    take: KeptTake
    clip: Path
    settings: MeasureSettings
    inputs: Inputs


def measure_study(
    library: Path,
    study: str,
    setup: str | None = None,
    *,
    given: Mapping[str, Any] | None = None,
    regions: Regions | None = None,
    again: bool = False,
    workers: int | None = None,
    hung_s: float = HUNG_S,
    only: int | None = None,
    stop: threading.Event | None = None,
) -> Generator[Event, None, None]:
    """Yield what happens to each clip that is new or stale, after each run is kept.

    A take is stale when its last run was made by another version, with other
    regions, profiles or settings than now hold. Stopping loses the clips being
    measured at that moment only; running it again goes on with the rest.

    Parameters
    ----------
    setup : str | None
        One setup of the study; None for all.
    given : mapping
        Settings by the names of `MeasureSettings`, for all clips.
    regions : Regions | None
        For all clips; by default those a person gave for each.
    again : bool
        Measure takes that are neither new nor stale, too.
    workers : int | None
        Clips measured at once; by default one a processor.
    only : int | None
        The key of the one take to measure.
    stop : threading.Event | None
        Set by another thread to end within a moment.

    Raises
    ------
    NotInLibrary, UnusableLibrary, UnwritableOutput
        The study, the library or its disk: what was measured before is kept.
    """
    with Library.open(library) as opened:
        plans, failed = planned(opened, study, setup, given or {}, regions, again, only)
        yield from failed
        yield from run_plans(opened, plans, workers or usable_processors(), hung_s, stop=stop)


def due(
    library: Path, study: str, setup: str | None = None, *, again: bool = False
) -> tuple[KeptTake, ...]:
    """Return the takes that `measure_study` would look at, those that cannot be measured too."""
    with Library.open(library) as opened:
        plans, failed = planned(opened, study, setup, {}, None, again)
    return (*(plan.take for plan in plans), *(each.take for each in failed))


def planned(
    library: Library,
    study: str,
    setup: str | None,
    given: Mapping[str, Any],
    regions: Regions | None,
    again: bool,
    only: int | None = None,
) -> tuple[list[Plan], list[Failed]]:
    """Return the takes to be measured, and those of which it is clear that they cannot be.

    Parameters
    ----------
    only : int | None
        The key of the one take to look at.
    """
    setups = library.study(study).setups() if setup is None else (library.setup(study, setup),)
    displays = {kept.name: kept.profile for kept in library.displays()}
    cameras = {kept.name: kept.profile for kept in library.cameras()}
    plans, failed = [], []
    for kept in setups:
        display = displays.get(kept.setup.display or "")
        camera = cameras.get(kept.setup.camera or "")
        for take in library.takes(setup=kept):
            if only not in (None, take.id):
                continue
            latest = (library.runs(take) or (None,))[-1]
            said = ({} if latest is None else latest.parameters) | dict(given)
            places = regions or library.given_regions(take)
            try:
                settings = settings_for(said, given, display, camera, places)
                clip = library.clip(take)
            except BlinkspanError as refusal:
                failed.append(Failed(take, str(refusal)))
                continue
            inputs = Inputs(
                program_version=version("blinkspan"),
                parameters=said,
                regions=places,
                display_name=kept.setup.display,
                display=settings.display,
                camera_name=kept.setup.camera,
                camera=settings.camera,
            )
            if again or latest is None or latest.fingerprint != inputs.fingerprint:
                plans.append(Plan(take, clip, settings, inputs))
    return plans, failed


_SETTINGS = frozenset(field.name for field in fields(MeasureSettings))


def settings_for(
    said: Mapping[str, Any],
    given: Mapping[str, Any],
    display: DisplayProfile | None,
    camera: CameraProfile | None,
    regions: Regions | None,
) -> MeasureSettings:
    """Return how a take is to be measured.

    What is given now goes before the setup's profiles, and they before what was
    said of the take in an earlier run.
    """
    # an earlier version may have known settings that this one does not
    values = {name: value for name, value in said.items() if name in _SETTINGS}
    values |= _of_display(display) | _of_camera(camera)
    if regions is not None:
        values |= {"lamp": regions.lamp, "panel": regions.panel, "watch": regions.watch}
    return MeasureSettings(**(values | dict(given)))


def run_plans(
    library: Library,
    plans: list[Plan],
    workers: int,
    hung_s: float = HUNG_S,
    work: Work | None = None,
    stop: threading.Event | None = None,
) -> Iterator[Event]:
    """Yield what happens to each clip while up to so many are measured at once.

    Parameters
    ----------
    work : callable
        Of a clip and its settings; by default the measuring itself.
    stop : threading.Event | None
        Set by another thread to end the clips in hand and start no other.
    """
    work = work or measure_clip
    waiting = deque(enumerate(plans, start=1))
    running: dict[ClipWorker, Plan] = {}
    try:
        while waiting or running:
            while waiting and len(running) < workers:
                number, plan = waiting.popleft()
                running[ClipWorker(work, (plan.clip, plan.settings))] = plan
                yield Started(plan.take, number, len(plans))
            heard = _heard_of(running)
            if stop is not None and stop.is_set():
                return
            for worker in heard:
                for event in _events(library, worker, running[worker], hung_s):
                    yield event
                    if isinstance(event, Kept | Failed):
                        worker.close()
                        del running[worker]
                        break
    finally:
        for worker in running:
            worker.close()


def measure_clip(clip: Path, settings: MeasureSettings) -> Iterator[Progress | Measurement]:
    """Yield how far one clip is, and last its measurement; runs in a process of its own."""
    # clips run beside each other: one thread each decodes more in all than two for one
    for step in measure_take(clip, settings, threads=1):
        yield step.measurement if isinstance(step, MeasuredTake) else step


def keep(library: Library, plan: Plan, measurement: Measurement) -> Kept:
    """Return the run after keeping it, with what it changed."""
    named = replace(measurement, take=replace(measurement.take, name=plan.take.name))
    before = [kept.measured for kept in library.presses(take=plan.take)]
    first = not library.runs(plan.take)
    run = library.keep_run(plan.take, named, plan.inputs)
    if not first:
        return Kept(plan.take, run, changes(before, named.presses), None)
    return Kept(plan.take, run, None, _spot(library, plan.take, named.regions.panel))


def _spot(library: Library, take: KeptTake, panel: Quadrilateral | None) -> SpotCheck | None:
    try:
        return check_spot(library, take, panel)
    except UnreadableTake:
        return None  # the clip is gone since it was measured, which a check of the library tells


def _heard_of(running: Mapping[ClipWorker, Plan]) -> list[ClipWorker]:
    """Return the workers after waiting a moment for any of them to speak or end."""
    by_handle: dict[Any, ClipWorker] = {}
    for worker in running:
        by_handle[worker.connection] = by_handle[worker.ending] = worker
    wait(list(by_handle), timeout=_MOMENT_S)
    return list(running)


def _events(library: Library, worker: ClipWorker, plan: Plan, hung_s: float) -> Iterator[Event]:
    crash = worker.crash()  # asked before reading: what was said before the end is still read
    for word, value in worker.messages():
        if word == "done":
            try:
                yield keep(library, plan, value)
            except BlinkspanError as refusal:
                if isinstance(refusal, OSError):
                    raise  # the library itself: nothing more can be kept
                yield Failed(plan.take, str(refusal))
        elif word == "refused":
            yield Failed(plan.take, value)
        else:
            yield Step(plan.take, value)
    if crash is not None:
        yield Failed(plan.take, f"{crash}; the file may be damaged, look at it in a player")
    elif worker.silent_s() > hung_s:
        yield Failed(
            plan.take,
            f"nothing came of it for {hung_s:.0f} s; the file may be damaged, "
            "look at it in a player",
        )


def _of_display(profile: DisplayProfile | None) -> dict[str, Any]:
    if profile is None:
        return {}
    known = {"refresh_hz": profile.refresh_hz, "game_rate_hz": profile.game_rate_hz}
    known |= _in_ms("lag", profile.lag_s)
    return {name: value for name, value in known.items() if value is not None}


def _of_camera(profile: CameraProfile | None) -> dict[str, Any]:
    if profile is None:
        return {}
    return _in_ms("readout", profile.readout_s) | _in_ms("exposure", profile.exposure_s)


def _in_ms(name: str, of: Measured | None) -> dict[str, float | None]:
    return {} if of is None else {f"{name}_ms": 1e3 * of.value, f"{name}_u_ms": 1e3 * of.u}
