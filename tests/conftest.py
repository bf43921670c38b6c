"""One small take with known truth, filmed once for all whole-job tests."""

from fractions import Fraction

import pytest

from blinkspan.stage.equipment import Camera, Film
from blinkspan.stage.play import Game, Presses
from blinkspan.stage.render import StagedTake, render_scene
from blinkspan.stage.scene import Scene

# Six presses, the fourth of which the game leaves unanswered; stamped for slow playback.
SMALL_SCENE = Scene(
    name="small",
    seed=3,
    camera=Camera(width_px=320, height_px=180),
    film=Film(stamped_hz=Fraction(30), quality=18),
    game=Game(miss=0.2),
    presses=Presses(count=6, first_s=0.45, every_s=0.5, jitter_s=0.05, hold_s=0.1),
)


@pytest.fixture(scope="session")
def small_scene() -> Scene:
    """Return the scene that the small take is filmed of."""
    return SMALL_SCENE


@pytest.fixture(scope="session")
def small_take(tmp_path_factory) -> StagedTake:
    """Return a take of 884 frames at 320x180 and its truth; not to be changed."""
    return render_scene(SMALL_SCENE, tmp_path_factory.mktemp("staged"), threads=1)
