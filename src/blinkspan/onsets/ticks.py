"""The instants of the panel's refreshes, from all that moves in a take.

The whole take's grid tells when the change of a refresh is half over. A fast panel begins
half an exposure before that, a slow one earlier, by about its time constant; how the change
of a refresh rises and falls, laid over each other for all refreshes, tells how much.
"""

import math
from dataclasses import dataclass

import numpy as np

from blinkspan.onsets.row_changes import RowChanges
from blinkspan.onsets.softened import gathered
from blinkspan.onsets.whole_grid import WholeGrid
from blinkspan.quantities import Measured
from blinkspan.traces.trace import Samples

_PLACES = 80  # of a refresh, over which its change is laid
_RESPONSES_S = np.arange(0.0, 6.01e-3, 0.25e-3)
_BEGINS_S = np.arange(-5e-3, 2.01e-3, 0.1e-3)  # from where a fast panel would begin
_APART_FRAMES = 3.0  # camera frames to a refresh: fewer, and one change runs into the next
_LEAST_U_S = 4e-4  # staged takes
_RUN_TOGETHER = Measured(-3e-4, 8e-4)
_SLANT_DOUBT = 2.5  # what moves in a few rows only tells a slant worse than it seems


@dataclass(frozen=True, slots=True)
class Ticks:
    """When the panel begins to show new pictures, in the clock of frames.

    Attributes
    ----------
    zero_s : Measured
        One such instant, at ``row_px``.
    period_s : float
    nominal_hz : float
    slant_s_per_px : Measured
        How much later the row below begins.
    """

    zero_s: Measured
    period_s: float
    nominal_hz: float
    slant_s_per_px: Measured
    row_px: float

    def zero_at(self, row_px: float) -> Measured:
        """Return the instant at another row."""
        return self.zero_s + self.slant_s_per_px * (row_px - self.row_px)


def ticks_of(
    changes: RowChanges, grid: WholeGrid, exposure: Measured, period_s: float
) -> Ticks:
    """Return the panel's ticks.

    Parameters
    ----------
    changes : RowChanges
    grid : WholeGrid
        Found in the same changes.
    exposure : Measured
    period_s : float
        Of the camera's frames.
    """
    tick_s = 1 / grid.refresh_hz.value
    begin = _begin(changes, grid, exposure.value, period_s, tick_s)
    return Ticks(
        grid.zero_s + begin + exposure * 0.5,
        tick_s,
        grid.nominal_hz,
        Measured(grid.slant_s_per_px.value, _SLANT_DOUBT * grid.slant_s_per_px.u),
        grid.row_px,
    )


def _begin(
    changes: RowChanges, grid: WholeGrid, exposure_s: float, period_s: float, tick_s: float
) -> Measured:
    """Return how much later a refresh begins than half an exposure before its change's middle."""
    if tick_s < _APART_FRAMES * period_s:
        return _RUN_TOGETHER
    course = _laid_over(changes, grid, tick_s)
    at = (np.arange(_PLACES) + 0.5) / _PLACES * tick_s - tick_s / 2
    ways = [(response, begin) for response in _RESPONSES_S for begin in _BEGINS_S]
    left = [
        _left_over(course, _change_of(at - begin - exposure_s / 2, exposure_s, response, period_s, tick_s))
        for response, begin in ways
    ]
    earliest = float(ways[int(np.argmin(left))][1])
    # The middle of the change is late for a slow panel, the fit early for a fast one.
    return Measured(earliest / 2, max(_LEAST_U_S, abs(earliest) / 2))


def _laid_over(changes: RowChanges, grid: WholeGrid, tick_s: float) -> Samples:
    """Return the mean change by its place between two refreshes, 0 in the middle."""
    values = changes.tamed / np.maximum(changes.tamed.std(axis=0), 1e-9)
    rows_s = grid.slant_s_per_px.value * (changes.row_px - grid.row_px)
    turns = (changes.at_s[:, None] - grid.zero_s.value - rows_s) / tick_s + 0.5
    place = ((turns % 1.0) * _PLACES).astype(np.intp).ravel() % _PLACES
    count = np.maximum(np.bincount(place, minlength=_PLACES), 1)
    course: Samples = np.bincount(place, values.ravel(), _PLACES) / count
    return course


def _change_of(
    after_s: Samples, exposure_s: float, response_s: float, period_s: float, tick_s: float
) -> Samples:
    """Return how much of a step falls between two frames whose middle comes so long after it."""
    total = np.zeros(after_s.size)
    for turn in (-tick_s, 0.0, tick_s):
        later, sooner = after_s - turn + period_s / 2, after_s - turn - period_s / 2
        total += gathered(later, exposure_s, response_s) - gathered(sooner, exposure_s, response_s)
    return total


def _left_over(course: Samples, model: Samples) -> float:
    """Return what a model, scaled and raised to fit best, leaves of a course."""
    a, b = model - model.mean(), course - course.mean()
    return float(b @ b - (a @ b) ** 2 / max(float(a @ a), 1e-12))


def concentration(at_s: Samples, tick_s: float) -> float:
    """Return how well instants agree in their place between two ticks, 0 to 1.

    The mean resultant length of K. V. Mardia and P. E. Jupp, *Directional Statistics*
    (2000), 2.3.
    """
    return float(abs(np.exp(2j * math.pi * at_s / tick_s).mean()))
