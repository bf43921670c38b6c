"""The built-in scenes: one thing made hard in each, everything else as usual."""

from dataclasses import replace
from fractions import Fraction

from blinkspan.stage.equipment import Camera, Display, Film, Lamp, Room
from blinkspan.stage.play import Action, ActionKind, Game, Presses, World
from blinkspan.stage.scene import Scene

_60 = Fraction(60000, 1001)
_120 = Fraction(120000, 1001)
_USUAL = Presses(count=15)

# Time constants of a middling liquid-crystal panel: 10 to 90 % takes 2.2 of them.
_RISE_MS, _FALL_MS = 3.5, 2.5
_LEANING = ((0.27, 0.10), (0.95, 0.03), (0.97, 0.79), (0.25, 0.72))

# An encoder told of a low frame rate spends more on each frame; this evens it out.
_SLOW = Film(stamped_hz=Fraction(30), quality=22)

_PAN = Action(ActionKind.PAN)
_POSE = Action(ActionKind.POSE, strength=0.10, frames=3)
_FADE = Action(ActionKind.FADE, frames=24)
_IDLE = World(breathing_px=2.0, particles=30)
_LCD = Display(rise_ms=_RISE_MS, fall_ms=_FALL_MS, lag_ms=9.0)


def _flash(panel: str, rate: int) -> Scene:
    """Return a clean flash on a fast or a slow panel."""
    display = Display() if panel == "oled" else _LCD
    if rate == 120:
        display = replace(display, refresh_hz=_120)
    return Scene(display=display, game=Game(rate_hz=Fraction(rate)))


_SCENES: dict[str, Scene] = {
    "flash-oled-30": _flash("oled", 30),
    "flash-oled-60": _flash("oled", 60),
    "flash-oled-120": _flash("oled", 120),
    "flash-lcd-30": _flash("lcd", 30),
    "flash-lcd-60": _flash("lcd", 60),
    "flash-lcd-120": _flash("lcd", 120),
    "pan-idle": Scene(action=_PAN, world=_IDLE),
    "pan-lcd-30": Scene(
        action=_PAN, world=World(breathing_px=1.5), display=_LCD, game=Game(rate_hz=Fraction(30))
    ),
    "pan-grain": Scene(action=_PAN, world=World(breathing_px=1.5, grain=0.12)),
    "pan-drifting": Scene(action=_PAN, world=World(breathing_px=1.5, drift_px=12.0)),
    "pose-breathing": Scene(action=_POSE, world=World(breathing_px=2.0)),
    "pose-busy": Scene(
        action=_POSE, world=World(breathing_px=2.0, particles=60, grain=0.08), display=_LCD
    ),
    "fade-slow": Scene(action=_FADE, world=World(breathing_px=1.0)),
    "flicker-100": Scene(room=Room(ambient=0.18, flicker_hz=100.0, flicker_depth=0.35)),
    "flicker-120": Scene(room=Room(ambient=0.18, flicker_hz=120.0, flicker_depth=0.35)),
    "backlight-pulsed": Scene(display=replace(_LCD, backlight_hz=240.0, backlight_duty=0.4)),
    "backlight-strobed": Scene(display=replace(_LCD, backlight_hz=float(_60), backlight_duty=0.15)),
    "lamp-pulsed": Scene(lamp=Lamp(pulse_hz=1000.0, pulse_duty=0.3)),
    "lamp-slow": Scene(lamp=Lamp(rise_ms=1.0)),
    "lamp-clipped": Scene(lamp=Lamp(brightness=4.0, glow=0.1)),
    "lamp-under-thumb": Scene(lamp=Lamp(thumb=0.6)),
    "moving-pad": Scene(lamp=Lamp(motion_px=6.0)),
    "hand-held": Scene(camera=Camera(shake_px=1.5)),
    "hand-held-pan": Scene(camera=Camera(shake_px=1.0), action=_PAN, world=_IDLE),
    "keystone": Scene(display=Display(corners=_LEANING)),
    "keystone-pan": Scene(display=replace(_LCD, corners=_LEANING), action=_PAN, world=_IDLE),
    "slow-motion": Scene(film=_SLOW),
    "slow-motion-untold": Scene(film=replace(_SLOW, capture_tag=False)),
    "variable-rate": Scene(camera=Camera(rate_wander=0.05)),
    "camera-drops": Scene(camera=Camera(dropped_frames=0.01)),
    "camera-clock-off": Scene(camera=Camera(clock_ppm=-300.0)),
    "short-exposure": Scene(
        camera=Camera(exposure_share=0.12, full_well_e=4000.0),  # 1/2000 s at 240 frames/s
    ),
    "long-readout": Scene(camera=Camera(exposure_share=0.9, readout_ms=4.1)),
    "noisy": Scene(camera=Camera(full_well_e=800.0, read_noise=0.012), film=Film(quality=26)),
    "missed": Scene(game=Game(miss=0.3)),
    "stray": Scene(game=Game(stray=4), presses=replace(_USUAL, every_s=1.0)),
    "double": Scene(presses=replace(_USUAL, double=0.4, every_s=0.9)),
    "bounce": Scene(presses=replace(_USUAL, bounce_ms=6.0)),
    "dropped-game-frames": Scene(
        game=Game(dropped_frame=0.04, extra_frame=0.15),
        action=_PAN,
        world=World(breathing_px=1.5, drift_px=20.0),
    ),
    "variable-refresh": Scene(
        display=Display(refresh_hz=_120),
        game=Game(rate_hz=Fraction(60), frame_wander_ms=6.0),
        world=World(particles=30, grain=0.05),
    ),
    "no-answer": Scene(action=Action(ActionKind.NONE), world=_IDLE),
    "hevc": Scene(film=Film(codec="hevc", quality=20)),
    "full-hd": Scene(camera=Camera(width_px=1920, height_px=1080), presses=Presses(count=5)),
    "torn-frames": Scene(
        game=Game(rate_hz=Fraction(30), torn=0.25),
        action=_PAN,
        world=World(drift_px=240.0),
    ),
}


def _named(name: str, scene: Scene, seed: int) -> Scene:
    """Return the scene under its name, with the usual presses unless it has its own."""
    presses = _USUAL if scene.presses == Presses() else scene.presses
    return replace(scene, name=name, seed=seed, presses=presses)


CATALOGUE: dict[str, Scene] = {
    name: _named(name, scene, seed) for seed, (name, scene) in enumerate(_SCENES.items(), start=101)
}
