"""One setup of the demonstration: filmed where it is not there yet, measured, held against truth.

It runs in a process of its own and tells its progress through a queue.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from blinkspan.errors import BlinkspanError
from blinkspan.jobs.measure import MeasuredTake, Progress, measure_take
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.stage.against_truth import Score, against_truth
from blinkspan.stage.demo import DemoSetup
from blinkspan.stage.render import render_scene
from blinkspan.stage.truth import Truth, read_truth
from blinkspan.stage.truth_of import expected_truth

# What measuring the display with the same gear would leave unknown (common practice).
_LAG_U_MS = 0.5


@dataclass(frozen=True, slots=True)
class DemoTake:
    """One setup of the demonstration, measured and held against its truth."""

    setup: DemoSetup
    label: str
    measured: MeasuredTake
    score: Score


def film_and_measure(
    setup: DemoSetup, takes_dir: Path, work_dir: Path, tell: Callable[[int], None]
) -> DemoTake:
    """Return one setup's take, measured.

    Parameters
    ----------
    takes_dir : Path
        Where the take and its truth are kept; a take that is there with the same truth is used.
    work_dir : Path
        Where it is filmed first, on the same disk.
    tell : callable
        Told the frames done: each counts once when filmed and once when read.
    """
    truth = expected_truth(setup.scene)
    path = _kept(setup, takes_dir, truth)
    if path is None:
        staged = render_scene(setup.scene, work_dir, lambda done, _: tell(done), threads=1)
        path = staged.path.replace(takes_dir / staged.path.name)
        # The truth comes last: a take beside its own truth is whole.
        _truth_beside(staged.path).replace(_truth_beside(path))
    measured = None
    for step in measure_take(
        path, settings_for(truth), conditions_of(setup), pictures=True, threads=1
    ):
        if isinstance(step, Progress):
            tell(truth.frames + (step.done if step.doing == "reading" else truth.frames))
        else:
            measured = step
    assert measured is not None  # the job ends with it
    score = against_truth(measured.measurement.presses, truth)
    return DemoTake(setup, f"{setup.platform}, {setup.mode}", measured, score)


def settings_for(truth: Truth) -> MeasureSettings:
    """Return what a person in front of this gear would know.

    The regions, the signal's rates and the display's lag with a doubt; exposure
    and readout of the camera are left to be read from the take.
    """
    return MeasureSettings(
        lamp=truth.lamp,
        panel=truth.panel,
        watch=truth.watch,
        refresh_hz=truth.refresh_hz,
        game_rate_hz=truth.game_rate_hz,
        lag_ms=round(truth.display_lag_ms, 1),
        lag_u_ms=_LAG_U_MS,
    )


def conditions_of(setup: DemoSetup) -> dict[str, str]:
    """Return what the setup holds equal, in the order in which it should be shown."""
    names = ("platform", "title", "build", "mode", "action", "spot", "link", "display", "camera")
    return {name: getattr(setup, name) for name in (*names, "notes")}


def _kept(setup: DemoSetup, takes_dir: Path, truth: Truth) -> Path | None:
    """Return the take of an earlier run where its truth is that of this scene."""
    path = takes_dir / f"{setup.scene.name}.mp4"
    try:
        same = path.is_file() and read_truth(_truth_beside(path)) == truth
    except (OSError, ValueError, KeyError, TypeError, BlinkspanError):
        return None  # missing or of another version: filmed anew
    return path if same else None


def _truth_beside(path: Path) -> Path:
    return path.with_suffix(".truth.json")
