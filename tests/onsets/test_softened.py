"""A softened step on film: exact, against integration by small steps (SciPy's quad)."""

import numpy as np
import pytest
from scipy.integrate import quad

from blinkspan.onsets.softened import doubt_of, gathered, gathered_in_band


@pytest.mark.parametrize("after_s", [-0.004, -0.0015, -0.0001, 0.0, 0.003])
@pytest.mark.parametrize("response_s", [0.0, 0.001, 0.006])
def test_the_closed_form_is_the_integral(after_s, response_s):
    def light(t):
        return 0.0 if t < 0 else 1.0 - (np.exp(-t / response_s) if response_s else 0.0)

    exposure = 0.0021
    want = quad(light, after_s, after_s + exposure, points=[0.0], limit=200)[0] / exposure
    got = gathered(np.array([after_s]), exposure, response_s)[0]
    assert got == pytest.approx(want, abs=1e-6)


def test_a_band_of_rows_is_the_mean_over_its_rows():
    after = np.linspace(-0.006, 0.006, 41)
    rows = np.linspace(-0.0008, 0.0008, 401)
    mean = np.mean([gathered(after - row, 0.002, 0.002) for row in rows], axis=0)
    band = gathered_in_band(after, np.full(after.size, rows.std()), 0.002, 0.002)
    assert np.abs(band - mean).max() < 0.01


def test_half_way_up_is_doubted_most():
    doubt = doubt_of(np.array([0.0, 50.0, 100.0]), np.full(3, 100.0))
    assert doubt[1] > doubt[0] == doubt[2] > 1.0
