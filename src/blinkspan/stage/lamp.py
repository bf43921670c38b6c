"""The lamp: its light in time, its disc and glow in space, and the hand that moves it."""

from dataclasses import dataclass

import numpy as np

from blinkspan.stage.equipment import Lamp
from blinkspan.stage.lens import Light
from blinkspan.stage.light import Instants, Pulse, fading, lit
from blinkspan.stage.timeline import Timeline

_PATCH_RADII = 9.0  # the glow is drawn this far out
_GLOW_RADII = 2.6
_SWAYS_HZ = (0.31, 0.83)  # slow movement of the hand across and up and down


Patch = tuple[slice, slice, Light]  # rows, columns and what lies there


@dataclass(frozen=True, slots=True)
class Glow:
    """Stretches of time in which the lamp settles towards on or off.

    Attributes
    ----------
    since_s : ndarray, shape (n,)
        Start of each stretch; the first lies before the take.
    target, apart : ndarray, shape (n,)
        The level it settles to, and what it is over it at the start.
    """

    since_s: Instants
    target: Instants
    apart: Instants


def glow(timeline: Timeline, tau_s: float) -> Glow:
    """Return how the lamp settles through all closings of the contact."""
    since, target, apart = [-np.inf], [0.0], [0.0]
    for press in timeline.presses:
        for on_s, off_s in press.closings:
            for at_s, level in ((on_s, 1.0), (off_s, 0.0)):
                gone = np.exp(-(at_s - since[-1]) / tau_s) if tau_s > 0 else 0.0
                reached = target[-1] + apart[-1] * gone
                since.append(at_s)
                target.append(level)
                apart.append(reached - level)
    return Glow(np.array(since), np.array(target), np.array(apart))


def lamp_light(lamp: Lamp, course: Glow, row_start_s: Instants, exposure_s: float) -> Instants:
    """Return the lamp's mean light over each row's exposure, 1 for a lamp fully lit."""
    stop = row_start_s + exposure_s
    first = max(0, int(np.searchsorted(course.since_s, row_start_s.min(), side="right")) - 1)
    last = int(np.searchsorted(course.since_s, stop.max()))
    total = np.zeros_like(row_start_s)
    tau_s = lamp.rise_ms / 1e3
    pulse = None
    for index in range(first, last):
        since = course.since_s[index]
        until = course.since_s[index + 1] if index + 1 < course.since_s.size else np.inf
        begin = np.maximum(row_start_s, since)
        end = np.maximum(np.minimum(stop, until), begin)
        level = course.target[index]
        if lamp.pulse_duty < 1.0 and level > 0:
            # the driver starts a new period with each closing and keeps it while it goes out
            pulse = Pulse(1.0 / lamp.pulse_hz, lamp.pulse_duty, float(since))
        if level > 0:
            total += level * lit(begin, end, pulse)
        if tau_s > 0 and course.apart[index] != 0.0:
            total += course.apart[index] * fading(begin, end, since, tau_s, pulse)
    return total / exposure_s


def lamp_patch(lamp: Lamp, at_px: tuple[float, float], width_px: int, height_px: int) -> Patch:
    """Return rows, columns and light of the fully lit lamp around a place in the picture."""
    radius = lamp.radius * height_px
    reach = _PATCH_RADII * radius
    left, right = max(0, int(at_px[0] - reach)), min(width_px, int(at_px[0] + reach) + 1)
    top, bottom = max(0, int(at_px[1] - reach)), min(height_px, int(at_px[1] + reach) + 1)
    dx = (np.arange(left, right) + 0.5 - at_px[0])[None, :]
    dy = (np.arange(top, bottom) + 0.5 - at_px[1])[:, None]
    distance = np.hypot(dx, dy)
    disc = np.clip(radius + 0.5 - distance, 0.0, 1.0) * (1.0 - 0.3 * (distance / radius) ** 2)
    if lamp.thumb > 0.0:
        edge = radius * (2.0 * lamp.thumb - 1.0)  # the thumb comes from the lower left
        disc = disc * np.clip((dx - dy) / np.sqrt(2.0) - edge + 0.5, 0.0, 1.0)
    halo = lamp.glow * np.exp(-0.5 * (distance / (_GLOW_RADII * radius)) ** 2)
    light = lamp.brightness * (np.maximum(disc, 0.0) + halo)
    return slice(top, bottom), slice(left, right), light.astype(np.float32)


def hand_px(lamp: Lamp, moment_s: float, height_px: int) -> tuple[float, float]:
    """Return how far the control has been moved from its place, across and down."""
    reach = lamp.motion_px * height_px / 360
    across = np.sin(2 * np.pi * _SWAYS_HZ[0] * moment_s)
    down = np.sin(2 * np.pi * _SWAYS_HZ[1] * moment_s + 0.7)
    return float(reach * across), float(0.6 * reach * down)
