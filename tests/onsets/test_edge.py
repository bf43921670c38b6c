"""Edges and exposure: published (GUM 4.3.7), exact (by hand) and the honesty of u."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blinkspan.onsets.edge import lit_spells, rising_edge
from blinkspan.onsets.exposure import exposure_from_edges
from blinkspan.quantities import Measured
from blinkspan.traces.trace import Trace

PERIOD = 1 / 240
START = np.arange(40) * PERIOD


def film(on_s: float, exposure_s: float) -> np.ndarray:
    """Share of each exposure that is lit from ``on_s`` on."""
    return np.clip((START + exposure_s - on_s) / exposure_s, 0.0, 1.0)


@given(st.floats(0.15, 0.85), st.integers(5, 30), st.floats(0.2, 1.0))
def test_a_half_lit_frame_puts_the_edge_into_its_exposure(f, frame, share):
    exposure = share * PERIOD
    on = START[frame] + (1 - f) * exposure
    levels = film(on, exposure)
    first = int(np.argmax(levels >= 0.5))
    edge = rising_edge(levels, START, first, Measured(exposure, 0.0), noise=0.0)
    assert edge.partial
    assert edge.at_s.value == pytest.approx(on, abs=1e-9)


def test_between_two_exposures_only_the_gap_is_known():
    exposure = PERIOD / 2
    edge = rising_edge((START[10] < START).astype(float), START, 11, Measured(exposure, 0.0), 0.0)
    dark_until, lit_from = START[10] + exposure, START[11]
    assert not edge.partial
    assert edge.at_s.value == pytest.approx((dark_until + lit_from) / 2)
    # JCGM 100, 4.3.7: a gap of width w has u = w / sqrt(12); the blind ends widen it a little.
    assert (lit_from - dark_until) / 12**0.5 < edge.at_s.u < 1.4 * PERIOD / 2 / 12**0.5


def test_darkness_rises_as_light_falls():
    exposure = 0.8 * PERIOD
    off = START[12] + 0.3 * exposure
    lit = 1.0 - film(off, exposure)
    first_dark = int(np.argmax(lit < 0.5))
    edge = rising_edge(1.0 - lit, START, first_dark, Measured(exposure, 0.0), noise=0.0)
    assert edge.at_s.value == pytest.approx(off, abs=1e-9)


@pytest.mark.parametrize("share", [0.12, 0.5, 0.95])
def test_the_stated_uncertainty_matches_the_error_made(share):
    rng = np.random.default_rng(9)
    exposure, noise = share * PERIOD, 0.02
    z = []
    for on in START[10] + rng.uniform(0, PERIOD, 1500):
        levels = film(on, exposure) + rng.normal(0, noise, START.size)
        edge = rising_edge(
            levels, START, int(np.argmax(levels >= 0.5)), Measured(exposure, 0.0), noise
        )
        z.append((edge.at_s.value - on) / edge.at_s.u)
    assert abs(np.mean(z)) < 0.2
    # Not far above 1: the tone curve's doubt is in u, but not in this film.
    assert 0.5 < np.std(z) < 1.1


def test_short_gaps_are_one_broken_spell_and_long_ones_are_two_spells():
    values = np.zeros(200)
    values[20:24] = values[26:40] = values[100:120] = 1.0
    spells = lit_spells(Trace(values, np.arange(200) / 240))
    assert [(s.first, s.stop, s.broken) for s in spells] == [(20, 40, True), (100, 120, False)]


def test_the_share_of_half_lit_frames_tells_the_exposure():
    # Beta(k + 1, n - k + 1): with 18 of 24 edges half lit, mean 19/26, by hand.
    e = exposure_from_edges(18, 24, PERIOD)
    assert e.value == pytest.approx(19 / 26 * PERIOD)
    assert e.u == pytest.approx((19 * 7 / (26**2 * 27)) ** 0.5 * PERIOD)


def test_with_no_edges_the_exposure_is_anything_up_to_a_period():
    e = exposure_from_edges(0, 0, PERIOD)
    # JCGM 100, 4.3.7, rectangular on 0 to one period.
    assert (e.value, e.u) == pytest.approx((PERIOD / 2, PERIOD / 12**0.5))
