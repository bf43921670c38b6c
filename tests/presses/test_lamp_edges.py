"""What the lamp's edges tell of the exposure."""

from dataclasses import replace

import pytest

from blinkspan.onsets.edge import lit_spells
from blinkspan.onsets.exposure import exposure_from_edges
from blinkspan.presses.lamp_edges import exposure_of_edges
from blinkspan.traces.lamp import lamp_trace
from presses.array_film import series_of, staged

PERIOD_S = 1 / 240


@pytest.mark.parametrize("frames", [24.0, 24.3])
def test_letting_go_after_always_the_same_time_tells_nothing_new(frames):
    """A machine that presses for a tenth of a second lets go where it pressed, between frames."""
    film = replace(staged(count=10), lamp_held_s=frames * PERIOD_S)
    lamp = lamp_trace(series_of(film), row_s=0.0)
    spells = lit_spells(lamp.trace)
    told = exposure_of_edges(lamp, spells, None, PERIOD_S)
    # As 10 edges tell it, not as 20.
    few = [exposure_from_edges(k, 10, PERIOD_S, 0.06).u for k in range(11)]
    assert any(told.u == pytest.approx(u, rel=1e-3) for u in few)
