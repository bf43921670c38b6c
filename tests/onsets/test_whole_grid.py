"""The refresh grid of all that moves: exact, changes computed from known ticks without a film."""

import numpy as np
import pytest

from blinkspan.onsets.cadence import cadence
from blinkspan.onsets.grid import KNOWN_RATES_HZ
from blinkspan.onsets.row_changes import RowChanges
from blinkspan.onsets.whole_grid import NoGrid, WholeGrid, fit_whole_grid

ROWS = np.linspace(40.0, 960.0, 12)
PANEL_PX = 1000.0
PERIOD = 1 / 240
READOUT = 0.003 / PANEL_PX  # seconds a row


def changes_of(
    tick_s: np.ndarray,
    scan_s: float,
    *,
    seconds: float = 10.0,
    bands=None,
    seed: int = 0,
    noise=0.02,
) -> RowChanges:
    """Return what a camera of full exposure sees of ticks: each shared by its two neighbours.

    ``bands`` gives, for each tick, the first band that it changes and the one past the last.
    """
    n = round(seconds / PERIOD)
    rng = np.random.default_rng(seed)
    values = np.abs(rng.normal(0, noise, (n - 1, ROWS.size)))
    at = (np.arange(n - 1) + 0.5) * PERIOD
    sizes = rng.uniform(0.7, 1.3, tick_s.size)
    for k, (tick, size) in enumerate(zip(tick_s, sizes, strict=True)):
        first, stop = (0, ROWS.size) if bands is None else bands[k]
        for b in range(first, stop):
            seen = tick + scan_s * ROWS[b] / PANEL_PX - READOUT * ROWS[b]
            frame = int(np.floor(seen / PERIOD))  # the exposure that the tick falls into
            late = seen / PERIOD - frame
            for i, share in ((frame - 1, 1 - late), (frame, late)):
                if 0 <= i < n - 1:
                    values[i, b] += size * share
    return RowChanges(values, at, ROWS, 0.5)


def fitted(changes: RowChanges, rates=KNOWN_RATES_HZ) -> WholeGrid | NoGrid:
    return fit_whole_grid(changes, PERIOD, list(rates), PANEL_PX)


# CTA-861: 59.94 Hz is 60000 / 1001, and 1080 of 1125 lines carry the picture.
@pytest.mark.parametrize("ppm", [-300, 0, 150])
def test_rate_scan_and_phase_of_a_known_grid(ppm):
    # A camera that is fast by so much sees the signal slowed by as much.
    true_hz = 60000 / 1001 / (1 + ppm * 1e-6)
    ticks = 0.0042 + np.arange(600) / true_hz
    grid = fitted(changes_of(ticks, 0.96 / 60))
    assert isinstance(grid, WholeGrid)
    assert grid.nominal_hz == pytest.approx(60000 / 1001)
    assert grid.clock_ppm.value == pytest.approx(ppm, abs=max(8, 4 * grid.clock_ppm.u))
    assert grid.clock_ppm.u < 15
    slant = grid.slant_s_per_px
    assert slant.value * PANEL_PX == pytest.approx(0.96 / 60 - 0.003, abs=2e-4)
    # A full exposure of one period: the tick itself lies half an exposure after the zero.
    row_s = (0.96 / 60 / PANEL_PX - READOUT) * grid.row_px
    turns = (grid.zero_s.value + PERIOD / 2 - row_s - 0.0042) * true_hz
    assert abs(turns - round(turns)) / true_hz < 2e-4


def test_a_30_hz_game_lies_on_the_60_hz_grid_and_its_breaks_are_counted():
    gaps = [2] * 250
    gaps[60], gaps[130] = 4, 4  # two frames dropped
    gaps[90], gaps[91] = 1, 3  # one frame early, the next as much later
    ticks = 0.01 + np.concatenate([[0], np.cumsum(gaps)]) / 60
    changes = changes_of(ticks, 0.96 / 60)
    grid = fitted(changes, rates=[60.0])
    assert isinstance(grid, WholeGrid)
    seen = cadence(changes, grid, PERIOD)
    assert (seen.refreshes_a_frame, seen.game_hz) == (2, 30.0)
    assert (seen.late, seen.early, seen.torn) == (3, 1, 0)


def test_frames_that_begin_in_the_middle_of_a_scan_are_torn():
    ticks, bands = [], []
    torn = {20, 55, 90, 130, 171}
    for k in range(250):
        if k in torn:
            ticks += [0.01 + (2 * k - 1) / 60, 0.01 + 2 * k / 60]
            bands += [(7, 12), (0, 7)]
        else:
            ticks.append(0.01 + 2 * k / 60)
            bands.append((0, 12))
    changes = changes_of(np.array(ticks), 0.96 / 60, bands=bands)
    grid = fitted(changes, rates=[60.0])
    assert isinstance(grid, WholeGrid)
    assert cadence(changes, grid, PERIOD).torn == len(torn)


def test_ticks_at_random_are_on_no_grid():
    rng = np.random.default_rng(4)
    for seed in range(12):
        ticks = np.cumsum(rng.uniform(1 / 120, 1 / 48, 600))
        assert fitted(changes_of(ticks, 0.96 / 120, seed=seed)) is NoGrid.UNSTEADY


def test_what_pulses_in_all_rows_at_once_is_no_scan():
    # A strobe lights all rows together: in the clock of frames the lower rows see it sooner.
    strobe = 0.003 + np.arange(600) / (60000 / 1001)
    assert fitted(changes_of(strobe, 0.0)) is NoGrid.STROBED


@pytest.mark.parametrize("seed", range(4))
def test_a_few_rows_tell_the_grid_and_the_scan_is_known(seed):
    """A strip of a tenth of the panel hardly shows its slant, which scans have all the same."""
    seen = changes_of(0.0042 + np.arange(600) / 60, 0.96 / 60, seed=seed, noise=0.6)
    row_px = 500.0 + ROWS / 10
    sooner_s = (0.96 / 60 / PANEL_PX - READOUT) * (ROWS - row_px)
    bands = zip(sooner_s, seen.values.T, strict=True)
    values = np.stack([np.interp(seen.at_s + by, seen.at_s, band) for by, band in bands], axis=1)
    strip = RowChanges(values, seen.at_s, row_px, seen.light)
    assert fitted(strip) is NoGrid.UNSTEADY  # of several rates, too little tells which it is
    grid = fitted(strip, [60.0])
    assert isinstance(grid, WholeGrid)
    slant = grid.slant_s_per_px
    assert slant.value == pytest.approx(0.96 / 60 / PANEL_PX - READOUT, abs=2 * slant.u)
    # JCGM 100, 4.3.7: no wider than a readout of none to a period and a scan known to 3 in 100.
    assert slant.u * PANEL_PX < (PERIOD + 0.06 * 0.96 / 60) / 12**0.5


def test_a_still_picture_and_a_short_take_have_none():
    still = changes_of(np.array([]), 0.016, noise=2e-4)
    assert fitted(still) is NoGrid.STILL
    short = changes_of(np.arange(60) / 60, 0.016, seconds=1.0)
    assert fitted(short) is NoGrid.SHORT
