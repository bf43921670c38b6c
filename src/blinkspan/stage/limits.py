"""What a scene may ask for; everything else is refused before a frame is drawn."""

import re
from math import isfinite

import numpy as np

from blinkspan.errors import BadSetting
from blinkspan.footage.film import CODECS
from blinkspan.stage.scene import Scene

# A game's rate is the refresh rate over a whole number; 60 on a 59.94 Hz panel is meant as 1.
_RATE_SLACK = 0.005

# Setting: least and most, both allowed. Wide enough for any real room.
_RANGES: dict[str, tuple[float, float]] = {
    "camera.width_px": (64, 7680),
    "camera.height_px": (64, 4320),
    "camera.rate_hz": (5, 10_000),
    "camera.exposure_share": (0.001, 1),
    "camera.readout_ms": (0, 100),
    "camera.full_well_e": (10, 1e9),
    "camera.read_noise": (0, 0.5),
    "camera.clock_ppm": (-10_000, 10_000),
    "camera.shake_px": (0, 20),
    "camera.blur_px": (0, 10),
    "camera.dropped_frames": (0, 0.5),
    "camera.rate_wander": (0, 0.3),
    "film.quality": (0, 51),
    "film.key_interval": (1, 10_000),
    "display.refresh_hz": (10, 1000),
    "display.lag_ms": (0, 1000),
    "display.scan_fraction": (0, 1),
    "display.rise_ms": (0, 200),
    "display.fall_ms": (0, 200),
    "display.backlight_hz": (10, 1e6),
    "display.backlight_duty": (0.01, 1),
    "display.brightness": (0.01, 10),
    "game.rate_hz": (1, 1000),
    "game.system_ms": (0, 1000),
    "game.poll_ms": (0, 100),
    "game.queue_frames": (0, 20),
    "game.extra_frame": (0, 1),
    "game.dropped_frame": (0, 0.9),
    "game.frame_wander_ms": (0, 100),
    "game.torn": (0, 1),
    "game.miss": (0, 1),
    "game.stray": (0, 1000),
    "presses.count": (0, 10_000),
    "presses.first_s": (0, 60),
    "presses.every_s": (0.05, 60),
    "presses.jitter_s": (0, 60),
    "presses.hold_s": (0.001, 60),
    "presses.double": (0, 1),
    "presses.double_gap_s": (0.02, 10),
    "presses.bounce_ms": (0, 50),
    "action.strength": (0, 1),
    "action.frames": (1, 1000),
    "action.start_px": (0, 200),
    "action.top_px": (0, 200),
    "world.breathing_px": (0, 50),
    "world.particles": (0, 10_000),
    "world.grain": (0, 1),
    "world.drift_px": (-2000, 2000),
    "lamp.radius": (0.002, 0.2),
    "lamp.brightness": (0, 100),
    "lamp.glow": (0, 1),
    "lamp.rise_ms": (0, 100),
    "lamp.pulse_hz": (1, 1e6),
    "lamp.pulse_duty": (0.01, 1),
    "lamp.motion_px": (0, 50),
    "lamp.thumb": (0, 0.95),
    "room.ambient": (0, 1),
    "room.flicker_hz": (1, 1000),
    "room.flicker_depth": (0, 1),
    "room.spill": (0, 1),
}


def check_scene(scene: Scene) -> None:
    """Refuse a scene that cannot be filmed.

    Raises
    ------
    BadSetting
        Naming the first setting that is out of range or contradicts another.
    """
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]*", scene.name):
        raise BadSetting(
            f"the scene is named {scene.name!r}; use letters, digits, dots and dashes only"
        )
    if scene.seed < 0:
        raise BadSetting(f"the seed is {scene.seed}; give 0 or more")
    for name, (least, most) in _RANGES.items():
        part, setting = name.split(".")
        value = getattr(getattr(scene, part), setting)
        if not isfinite(value) or not least <= value <= most:
            raise BadSetting(f"{name} is {value}; give {least:g} to {most:g}")
    if scene.film.codec not in CODECS:
        raise BadSetting(
            f"there is no codec {scene.film.codec!r}; choose one of {', '.join(CODECS)}"
        )
    _check_rates(scene)
    _check_presses(scene)
    _check_places(scene)


def _check_rates(scene: Scene) -> None:
    """Refuse rates that do not go together."""
    refresh, game = scene.display.refresh_hz, scene.game.rate_hz
    delivered = refresh / scene.refreshes_per_frame
    if abs(float(delivered / game) - 1) > _RATE_SLACK:
        raise BadSetting(
            f"game.rate_hz is {float(game):g} on a panel of {float(refresh):g} Hz; "
            f"give the refresh rate over a whole number, such as {float(delivered):g}"
        )
    if scene.game.torn > 0 and (scene.refreshes_per_frame == 1 or scene.game.frame_wander_ms > 0):
        raise BadSetting(
            f"game.torn is {scene.game.torn:g}, but a game frame that may be shown early must stay "
            "for two refreshes at least; lower game.rate_hz and leave game.frame_wander_ms at 0"
        )
    period_ms = 1e3 / scene.camera.true_rate_hz
    if scene.camera.readout_ms > period_ms:
        raise BadSetting(
            f"camera.readout_ms is {scene.camera.readout_ms:g}, longer than a frame of "
            f"{period_ms:.3f} ms; give less"
        )
    stamped = scene.film.stamped_hz
    if stamped is not None and not 1 <= stamped <= scene.camera.rate_hz:
        raise BadSetting(
            f"film.stamped_hz is {float(stamped):g}; "
            f"give 1 to the camera's own {float(scene.camera.rate_hz):g}"
        )


def _check_presses(scene: Scene) -> None:
    """Refuse presses that would run into each other."""
    presses = scene.presses
    longest_s = 1.25 * presses.hold_s
    if presses.double > 0:
        longest_s = max(longest_s, 1.6 * presses.double_gap_s)
    longest_s += presses.jitter_s
    if presses.count > 1 and longest_s >= presses.every_s:
        raise BadSetting(
            f"presses.every_s is {presses.every_s:g}, but a press with its jitter can take "
            f"{longest_s:.3f} s; give more"
        )
    if presses.bounce_ms >= 500 * presses.hold_s:
        raise BadSetting(
            f"presses.bounce_ms is {presses.bounce_ms:g}; give less than half of presses.hold_s"
        )


def _check_places(scene: Scene) -> None:
    """Refuse a lamp outside the picture and a panel that is no quadrilateral in it."""
    for name, (x, y) in (
        ("lamp.place", scene.lamp.place),
        *((f"display.corners[{n}]", place) for n, place in enumerate(scene.display.corners)),
    ):
        if not (0 <= x <= 1 and 0 <= y <= 1):
            raise BadSetting(f"{name} is {x:g}, {y:g}; give shares of the picture, 0 to 1")
    corners = np.array(scene.display.corners)
    side = np.roll(corners, -1, axis=0) - corners
    after = np.roll(side, -1, axis=0)
    turns = side[:, 0] * after[:, 1] - side[:, 1] * after[:, 0]
    if not (turns > 1e-4).all():
        raise BadSetting(
            "display.corners do not go round the panel; give four from top left clockwise"
        )
