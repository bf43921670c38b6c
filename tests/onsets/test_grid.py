"""The refresh grid: exact (built on one) and its refusal of chance."""

import numpy as np
import pytest

from blinkspan.onsets.grid import KNOWN_RATES_HZ, fit_grid


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
