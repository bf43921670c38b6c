"""The demonstration: an invented title on two invented consoles, in two modes each.

Nothing here stands for any real machine; the delays were chosen so that the
consoles differ in one mode and hardly in the other, and one press of the 52 is
left unanswered by the game.
"""

from dataclasses import dataclass, replace
from fractions import Fraction

from blinkspan.stage.equipment import Display, Film
from blinkspan.stage.play import Action, ActionKind, Game, Presses, World
from blinkspan.stage.scene import Scene

TITLE = "The Wick of Ombermere"
BUILD = "1.4.2"
SPOT = "on the third step of the Tallow Market stair, facing the lamplighters' row"
ACTION = "strike a spark (right trigger)"


@dataclass(frozen=True, slots=True)
class DemoSetup:
    """One setup of the demonstration: what a person would note of it, and its scene.

    Attributes
    ----------
    name : str
        Short, as a file is named.
    platform, mode : str
        As shown in reports.
    link, display, camera, notes : str
        In plain words.
    """

    name: str
    platform: str
    title: str
    build: str
    mode: str
    action: str
    spot: str
    link: str
    display: str
    camera: str
    notes: str
    scene: Scene


def demo_setups() -> tuple[DemoSetup, ...]:
    """Return the four setups: two consoles, each at 30 and 60 frames a second."""
    return (
        _setup("Veldrin Arc", 30, 41, Game(system_ms=6.0, poll_ms=4.0, queue_frames=2)),
        _setup("Veldrin Arc", 60, 42, Game(system_ms=6.0, poll_ms=4.0, queue_frames=2)),
        _setup(
            "Tolvane Ember", 30, 46, Game(system_ms=9.0, poll_ms=8.0, queue_frames=2, miss=0.08)
        ),
        _setup(
            "Tolvane Ember",
            60,
            44,
            Game(system_ms=9.0, poll_ms=8.0, queue_frames=3, extra_frame=0.1),
        ),
    )


def _setup(platform: str, rate: int, seed: int, game: Game) -> DemoSetup:
    """Return one console in one mode."""
    name = f"{platform.lower().replace(' ', '-')}-{rate}"
    scene = Scene(
        name=name,
        seed=seed,
        film=Film(stamped_hz=Fraction(30), quality=22),
        display=Display(rise_ms=1.2, fall_ms=0.9, lag_ms=6.5),
        game=replace(game, rate_hz=Fraction(rate)),
        presses=Presses(count=13, first_s=0.5, every_s=0.55, jitter_s=0.08, hold_s=0.11),
        action=Action(ActionKind.FLASH),
        world=World(breathing_px=1.0),
    )
    return DemoSetup(
        name=name,
        platform=platform,
        title=TITLE,
        build=BUILD,
        mode=f"{rate} fps",
        action=ACTION,
        spot=SPOT,
        link="wireless pad, one metre away",
        display="liquid-crystal television, picture mode for games, 59.94 Hz",
        camera="240 fps, stamped for slow playback at 30, on a stand",
        notes="Rendered by blinkspan's own stage; the consoles and the title are invented.",
        scene=scene,
    )
