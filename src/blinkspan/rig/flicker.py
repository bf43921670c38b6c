"""Flicker of the room's lighting: lamps on the mains ripple at twice its frequency.

References
----------
IEC 60038: supply frequencies of 50 and 60 Hz (from memory); light follows the power, so
it ripples at 100 and 120 Hz.
"""

from dataclasses import dataclass

import numpy as np

from blinkspan.traces.light import FULL_SCALE
from blinkspan.traces.reduction import Series

_RIPPLES_HZ = (100.0, 120.0)
_REACH = np.linspace(-0.3, 0.3, 13)  # Hz: the mains wander about so much (common practice)
_BESIDE = np.concatenate([np.linspace(-6.0, -2.0, 9), np.linspace(2.0, 6.0, 9)])
_STANDS_OUT = 5.0  # times the ripple beside it
_LEAST = 0.03  # of the mean light; what the screen throws into the room stays below


@dataclass(frozen=True, slots=True)
class Flicker:
    """A ripple of the room's light: its frequency and its share of the mean light."""

    ripple_hz: float
    depth: float


def room_flicker(series: Series) -> Flicker | None:
    """Return the ripple seen beside the lamp, or None where the light is steady.

    A ripple at exactly half the camera's rate may hide by its phase; 120 Hz filmed
    at 240 frames a second is seen while the two clocks drift against each other.
    """
    around = series.around.astype(np.float64) / FULL_SCALE
    mean = float(around.mean())
    if mean <= 0 or around.size < 2:
        return None
    light, at = around - np.median(around), series.clock.start_s
    found: Flicker | None = None
    for hz in _RIPPLES_HZ:
        if hz * series.clock.period_s > 0.51:
            continue

        def swing(rates: np.ndarray) -> np.ndarray:
            waves = np.exp(-2j * np.pi * rates[:, None] * at)
            swings: np.ndarray = 2 * np.abs(waves @ light) / light.size
            return swings

        ripple = float(swing(hz + _REACH).max())
        beside = float(swing(hz + _BESIDE).mean())
        depth = ripple / mean
        if (
            ripple > _STANDS_OUT * beside
            and depth > _LEAST
            and (found is None or depth > found.depth)
        ):
            found = Flicker(hz, depth)
    return found
