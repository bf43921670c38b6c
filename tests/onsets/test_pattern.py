"""Where a band's change sits, so that the scan down to it is known."""

import numpy as np
import pytest

from blinkspan.onsets.idle import Moments, learn_idle
from blinkspan.onsets.look import look_before
from blinkspan.onsets.pattern import Change, learn_pattern

PERIOD_S = 1 / 240
ROWS, COLUMNS = 16, 24  # two rows a band


def test_a_bands_row_is_that_of_all_its_cells_weak_ones_too():
    """Strong cells in the upper row of each band, weak ones in the lower: both are seen."""
    rng = np.random.default_rng(4)
    change = np.zeros((ROWS, COLUMNS))
    change[::2, :4] = 0.30
    change[1::2] = 0.08
    film = 0.3 + rng.normal(0.0, 0.01, (400, ROWS, COLUMNS))
    answered = range(220, 390, 40)
    for frame in answered:
        film[frame : frame + 20] += change
    film = np.rint(np.clip(film, 0, 1) * 65535).astype(np.uint16)
    idle = learn_idle(film, Moments([20, 60, 100, 140], 40), PERIOD_S)
    row_px = np.arange(ROWS) * 10.0
    changes = [
        Change(look_before(film, frame - 2, PERIOD_S), (frame, frame + 4), (frame + 5, frame + 12))
        for frame in answered
    ]
    pattern = learn_pattern(film, row_px, idle, changes)
    power = (change**2).sum(axis=1)
    share = power[1] / (power[0] + power[1])  # of the lower row: 0.3, without its cells none
    below = pattern.row_px - row_px[::2]
    assert below == pytest.approx(np.full(8, 10 * share), abs=1.0)
