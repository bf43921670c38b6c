"""Suspicion that a take is slow motion, stamped for playback.

Such a film states, say, 30 frames a second though the camera took 240. Two
things betray it: thumbs that seem to press for seconds, and answers that lie on
an even fraction of a known refresh rate.
"""

from statistics import median

import numpy as np

from blinkspan.onsets.grid import KNOWN_RATES_HZ, fit_grid
from blinkspan.onsets.row_changes import RowChanges
from blinkspan.onsets.step import Step
from blinkspan.onsets.whole_grid import WholeGrid, fit_whole_grid

_LONGEST_PRESS_S = 2.0  # a thumb lets go sooner (common practice)
SLOW_HZ = 100.0  # no high-speed camera mode is slower
_SURE_TIMES = 4  # 60 Hz seen at 15 Hz or slower is no panel's refresh
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
    if rate_hz < SLOW_HZ:
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


def times_slower(
    rate_hz: float, step: Step | None, changes: RowChanges, panel_px: float | None
) -> int | None:
    """Return how many times slower than filmed a take is surely stamped, or None.

    Surely, because no panel refreshes at 7.5 or 15 Hz, and none takes over a tenth of a
    second to scan its rows one after the other; the smaller factors, at which a slow game
    would look the same, count only where the scan bears them out.

    Parameters
    ----------
    rate_hz : float
        Frames a second that the take is read at.
    step : Step | None
        The panel's step as the answers tell it.
    changes : RowChanges
        Of all that moves.
    panel_px : float | None
        Height of the panel, without which its scan bears nothing out.
    """
    if rate_hz >= SLOW_HZ:
        return None
    slower = _slower_by(step)
    if slower is not None and slower[0] >= _SURE_TIMES:
        return slower[0]
    if panel_px is None:
        return None
    for times in _TIMES_SLOWER:
        rates = [rate / times for rate in KNOWN_RATES_HZ]
        if isinstance(fit_whole_grid(changes, 1 / rate_hz, rates, panel_px), WholeGrid):
            return times
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
