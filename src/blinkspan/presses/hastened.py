"""A film stamped for slow playback, looked at as if it ran as fast as cameras film.

At the pace of its stamp such a film shows lamps lit for a second and answers that take
as long: nothing of it looks like a press. Hastened by the right factor it does, and its
answers then lie on the refresh grid of a panel.
"""

from dataclasses import replace

from blinkspan.footage.frames import Clock
from blinkspan.onsets.edge import lit_spells
from blinkspan.presses.finding import find_answers
from blinkspan.presses.lamp_edges import exposure_of_edges, lamp_constant
from blinkspan.presses.panel_step import panel_step
from blinkspan.presses.searching import searches
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.traces.lamp import lamp_trace
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Regions

# 240 or 120 frames a second stamped 30, or 240 stamped 24 (common practice). Smaller factors
# lead to rates at which a slow film and a fast one cannot be told apart.
_TIMES = (8, 4, 10)
_FEWEST_ANSWERS = 5


def times_hastened(
    series: Series, regions: Regions, camera: CameraProfile, display: DisplayProfile
) -> int | None:
    """Return the first factor at which the answers lie on a panel's refresh grid, or None."""
    for times in _TIMES:
        if _on_a_grid(_hastened(series, times), regions, camera, display):
            return times
    return None


def _hastened(series: Series, times: int) -> Series:
    clock = series.clock
    return replace(series, clock=Clock(clock.start_s / times, clock.rate_hz * times, clock.source))


def _on_a_grid(
    series: Series, regions: Regions, camera: CameraProfile, display: DisplayProfile
) -> bool:
    period_s = series.clock.period_s
    lamp = lamp_trace(series, row_s=0.0)
    spells = [s for s in lit_spells(lamp.trace) if s.first > 0]
    if len(spells) < _FEWEST_ANSWERS:
        return False
    constant = lamp_constant(lamp, spells, period_s)
    exposure = camera.exposure_s or exposure_of_edges(lamp, spells, constant, period_s)
    todo = searches(series.clock.start_s, [s.first for s in spells], period_s)
    found = find_answers(series, todo)
    _, panel, _ = panel_step(series, regions, todo, found, exposure, camera, display)
    if panel is None or panel.step.grid is None:
        return False
    return len(panel.step.begins) >= max(_FEWEST_ANSWERS, len(spells) // 2)
