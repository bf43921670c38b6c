"""The backlight's pulses, and when a change of the panel behind it can first be seen."""

import math

import numpy as np

from blinkspan.stage.light import Pulse
from blinkspan.stage.scene import Scene

# A backlight that comes on more often than so many times a refresh dims the panel and counts
# as steady; a slower one shows each picture as a flash.
_MOST_FLASHES = 2.1
_OWN_DRAW = 1  # apart from the draws of the timeline, so that the truth needs no film


def backlight_of(scene: Scene) -> Pulse | None:
    """Return the backlight's pulses, or None for a steady one; the seed gives their phase."""
    display = scene.display
    if display.backlight_duty >= 1.0:
        return None
    period_s = 1.0 / display.backlight_hz
    phase = np.random.default_rng((scene.seed, _OWN_DRAW)).uniform()
    return Pulse(period_s, display.backlight_duty, phase * period_s)


def flashes_of(scene: Scene) -> Pulse | None:
    """Return the backlight's pulses where it is strobed, None where it is steady or dimmed."""
    display = scene.display
    slow = display.backlight_hz <= _MOST_FLASHES * float(display.refresh_hz)
    return backlight_of(scene) if slow else None


def first_light_s(change_s: float, backlight: Pulse | None) -> float:
    """Return when a change is first seen: at once, or when the backlight next comes on.

    Examples
    --------
    >>> first_light_s(0.25, Pulse(period_s=1.0, duty=0.5)), first_light_s(
    ...     0.75, Pulse(period_s=1.0, duty=0.5)
    ... )
    (0.25, 1.0)
    """
    if backlight is None:
        return change_s
    pulses = (change_s - backlight.phase_s) / backlight.period_s
    whole = math.floor(pulses)
    if pulses - whole < backlight.duty:
        return change_s
    return backlight.phase_s + (whole + 1) * backlight.period_s
