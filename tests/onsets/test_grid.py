"""The refresh grid: exact (built on one) and its refusal of chance."""

import numpy as np
import pytest

from blinkspan.onsets.grid import KNOWN_RATES_HZ, come_at_every_refresh, fit_grid


def on_grid(rate_hz: float, n: int, sd_s: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    ticks = np.cumsum(rng.integers(30, 70, n))
    return 0.0123 + ticks / rate_hz + rng.normal(0, sd_s, n)


# 60000/1001 and its kin are the rates of CTA-861 signals.
@pytest.mark.parametrize("rate_hz", [60000 / 1001, 60.0, 120000 / 1001, 120.0])
def test_a_grid_is_found_among_the_known_rates(rate_hz):
    at = on_grid(rate_hz, 14, 2e-4, seed=1)
    grid = fit_grid(at, np.full(14, 2e-4), list(KNOWN_RATES_HZ))
    # 59.94 and 60 Hz lie 1000 ppm apart; six seconds tell them from each other.
    assert 1 / grid.period_s == pytest.approx(rate_hz, rel=6e-5)
    assert np.abs(grid.instants_s - at).max() < 8e-4
    assert grid.nominal_hz == pytest.approx(rate_hz, rel=5e-4)


def test_random_instants_are_on_no_grid():
    rng = np.random.default_rng(2)
    found = [
        fit_grid(np.sort(rng.uniform(0, 10, 12)), np.full(12, 2e-4), list(KNOWN_RATES_HZ))
        for _ in range(200)
    ]
    assert sum(grid is not None for grid in found) <= 2


def test_a_camera_clock_off_by_200_ppm_still_finds_the_signals_grid():
    at = on_grid(60000 / 1001, 20, 2e-4, seed=3) * (1 + 200e-6)
    grid = fit_grid(at, np.full(20, 2e-4), [60000 / 1001])
    assert (grid.period_s * 60000 / 1001 - 1) * 1e6 == pytest.approx(200, abs=30)


def test_four_instants_are_too_few():
    assert fit_grid(on_grid(60.0, 4, 1e-4, 4), np.full(4, 1e-4), [60.0]) is None


def test_a_line_that_leaves_the_reach_of_two_clocks_is_no_grid():
    # Of a clock off by so much a rate within reach still fits roughly, and its line runs out of it.
    at = on_grid(240 * (1 + 700e-6), 15, 2e-4, seed=7)
    assert fit_grid(at, np.full(15, 2e-4), [240.0]) is None


def told_at_every_refresh(refreshes_a_picture: int, late: int = 0) -> float:
    """Return how often 15 presses are told to come at every refresh, by a game that does not wait.

    ``late`` pictures, each by one refresh, lie somewhere between the presses.
    """
    rng = np.random.default_rng(6)
    told = []
    for _ in range(400):
        ticks = np.cumsum(refreshes_a_picture * rng.integers(15, 40, 15))
        after = rng.integers(1, 15, late)
        told.append(come_at_every_refresh(ticks + (np.arange(15) >= after[:, None]).sum(axis=0)))
    return float(np.mean(told))


def test_a_game_at_the_panels_rate_answers_at_any_refresh():
    assert told_at_every_refresh(1) > 0.7


# 60 and 30 frames a second on panels of 60 and 120 Hz, 40 and 24 at 120 Hz.
@pytest.mark.parametrize("refreshes_a_picture", [2, 3, 4, 5])
@pytest.mark.parametrize("late", [0, 3])
def test_a_slower_game_is_not_told_to_run_at_the_panels_rate(refreshes_a_picture, late):
    assert told_at_every_refresh(refreshes_a_picture, late) == 0.0
