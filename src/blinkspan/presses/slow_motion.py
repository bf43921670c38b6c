"""Suspicion that a take is slow motion, stamped for playback.

Such a film states, say, 30 frames a second though the camera took 240. Two
things betray it: thumbs that seem to press for seconds, and answers that lie on
an even fraction of a known refresh rate.
"""

from statistics import median

import numpy as np

from blinkspan.onsets.grid import KNOWN_RATES_HZ, fit_grid
from blinkspan.onsets.step import Step

_LONGEST_PRESS_S = 2.0  # a thumb lets go sooner (common practice)
_SLOW_HZ = 100.0  # no high-speed camera mode is slower
# The likeliest first: 240 or 120 frames a second stamped 30, then the rest (common practice).
_TIMES_SLOWER = (8, 4, 10, 16, 5, 2, 20, 32)


def slow_motion_note(rate_hz: float, held_s: list[float], step: Step | None) -> str | None:
    """Return what speaks for slow motion, in a sentence, or None.

    Parameters
    ----------
    rate_hz : float
        Frames a second that the take is read at.
    held_s : list of float
        How long the lamp was lit, press by press.
    step : Step | None
        The panel's step, where one was found.
    """
    if rate_hz < _SLOW_HZ:
        slower = _slower_by(step)
        if slower is not None:
            times, seen_hz, signal_hz = slower
            return (
                f"The answers lie on a grid of {seen_hz:.3f} Hz, 1/{times} of {signal_hz:.2f} Hz: "
                "this is slow motion stamped for playback; "
                f"give --capture-rate {rate_hz * times:g}."
            )
        return (
            f"The film states {rate_hz:g} frames a second, few for timing presses; if it is slow "
            "motion stamped for playback, give --capture-rate with the camera's own rate."
        )
    if median(held_s) > _LONGEST_PRESS_S:
        return (
            f"The lamp stays lit for {median(held_s):.1f} s a press: if this is slow motion "
            "stamped for playback, give --capture-rate."
        )
    return None


def _slower_by(step: Step | None) -> tuple[int, float, float] | None:
    """Return how many times slower than a known refresh the answers come, and both rates."""
    if step is None:
        return None
    at = np.array([begin.value for begin in step.begins])
    u = np.array([begin.u for begin in step.begins])
    for times in _TIMES_SLOWER:
        grid = fit_grid(at, u, [rate / times for rate in KNOWN_RATES_HZ])
        if grid is not None:
            return times, 1 / grid.period_s, grid.nominal_hz * times
    return None
