"""How a lamp rises: exact (made from the model) and the honesty of the stated doubt."""

import numpy as np
import pytest

from blinkspan.onsets.edge import rising_edge
from blinkspan.onsets.rise import Rising, place_rise, rises_once, rising, time_constant
from blinkspan.onsets.softened import gathered
from blinkspan.quantities import Measured

PERIOD = 1 / 240
START = np.arange(40) * PERIOD
NOISE = 0.006


def lamp(on_s: float, tau_s: float, rng: np.random.Generator, share: float = 0.5) -> Rising:
    """One onset of a lamp with a time constant, filmed with some noise."""
    levels = gathered(START - on_s, share * PERIOD, tau_s) + rng.normal(0, NOISE, START.size)
    return rising(levels, START, int(np.argmax(levels > 0.5)), START.size)


def takes(tau_s: float, seed: int, count: int = 30) -> tuple[np.ndarray, list[Rising]]:
    rng = np.random.default_rng(seed)
    on = START[12] + rng.uniform(0, PERIOD, count)
    return on, [lamp(at, tau_s, rng) for at in on]


@pytest.mark.parametrize("seed", range(4))
def test_a_slow_lamps_time_constant_is_found_and_a_fast_one_has_none(seed):
    slow = time_constant(takes(0.001, seed)[1], PERIOD, NOISE)
    assert slow.value == pytest.approx(0.001, abs=slow.u)
    assert time_constant(takes(0.0, seed)[1], PERIOD, NOISE) is None


def test_a_slow_lamps_onset_is_where_it_began_to_rise():
    on, edges = takes(0.001, seed=3, count=200)
    exposure, constant = Measured(PERIOD / 2, 1e-5), Measured(0.001, 0.0001)
    placed = [place_rise(edge, exposure, constant, PERIOD, NOISE) for edge in edges]
    z = np.array([(at.value - true) / at.u for at, true in zip(placed, on, strict=True)])
    assert abs(z.mean()) < 0.3
    assert 0.2 < np.sqrt(np.mean(z**2)) < 1.2
    # Half of the exposures are dead time, in which a fast lamp's onset is anywhere: T/2/sqrt(12).
    assert np.mean([at.u for at in placed]) < PERIOD / 2 / 12**0.5


def drawn_takes(seed: int, noise: float, count: int = 400) -> tuple[np.ndarray, list[Rising]]:
    """Onsets of a fast lamp whose half-lit frames an encoder draws to their neighbours."""
    rng = np.random.default_rng(seed)
    on = START[12] + rng.uniform(0, PERIOD, count)
    edges = []
    for at in on:
        share = gathered(START - at, 0.5 * PERIOD, 0.0)
        pull = rng.normal(0, 0.03 + 2 * noise, START.size) * np.clip(
            share * (1 - share) / 0.06, 0, 1
        )
        levels = np.clip(share + pull, 0, 1) + rng.normal(0, noise, START.size)
        edges.append(rising(levels, START, int(np.argmax(levels > 0.5)), START.size))
    return on, edges


@pytest.mark.parametrize("noise", [0.005, 0.02, 0.05])
def test_a_fast_lamps_onset_is_placed_as_well_as_stated_however_noisy_its_frames(noise):
    on, edges = drawn_takes(5, noise)
    exposure = Measured(PERIOD / 2, 1e-5)
    placed = [place_rise(edge, exposure, None, PERIOD, noise) for edge in edges]
    off = np.array([at.value - true for at, true in zip(placed, on, strict=True)])
    u = np.array([at.u for at in placed])
    assert abs(off.mean()) < 0.05 * PERIOD
    assert 0.8 < np.sqrt(np.mean((off / u) ** 2)) < 1.2
    assert np.mean(np.abs(off) < 2 * u) > 0.93
    # Better than to hold a faint fraction for none and to take the middle of the dead time.
    blind = [
        rising_edge(e.levels, e.start_s, int(np.argmax(e.start_s == e.half_s)), exposure, noise)
        for e in edges
    ]
    blindly_off = np.array([e.at_s.value for e in blind]) - on
    assert np.sqrt(np.mean(off**2)) < np.sqrt(np.mean(blindly_off**2))


def test_an_onset_in_the_dead_time_is_known_to_that_alone():
    """JCGM 100:2008, 4.3.7: anywhere in a gap of width w is known to w / sqrt(12)."""
    levels = np.array([0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0])
    edge = rising(levels, START[:7], 3, 7)
    at = place_rise(edge, Measured(PERIOD / 4, 1e-6), None, PERIOD, 0.002)
    assert at.value == pytest.approx(START[2] + PERIOD * (1 + 1 / 4) / 2, abs=1e-5)
    assert at.u == pytest.approx(0.75 * PERIOD / 12**0.5, rel=0.08)


def test_a_frame_that_goes_dark_again_is_no_single_rise():
    exposure = Measured(PERIOD / 2, 0.0001)
    once = np.array([0.0, 0.0, 0.0, 0.4, 1.0, 1.0, 1.0, 1.0])
    twice = np.array([0.0, 0.0, 0.0, 0.98, 0.5, 1.0, 1.0, 1.0])
    for levels, single in ((once, True), (twice, False)):
        edge = rising(levels, START[:8], 4 if single else 3, 9)
        assert rises_once(edge, exposure, None, PERIOD, NOISE) is single


def test_a_lamp_that_lit_in_lost_frames_may_have_lit_anywhere_in_them():
    # JCGM 100, 4.3.7: an instant known to lie in a gap of w has u = w / sqrt(12).
    kept = np.delete(START, [13, 14])
    levels = gathered(kept - START[13], 0.5 * PERIOD, 0.0)
    edge = rising(levels, kept, int(np.argmax(levels > 0.5)), kept.size)
    placed = place_rise(edge, Measured(PERIOD / 2, 1e-5), None, PERIOD, NOISE)
    gap_s = 2.5 * PERIOD  # less one exposure of half a period at its begin
    assert placed.u == pytest.approx(gap_s / 12**0.5, rel=0.1)
    assert abs(placed.value - START[13]) < gap_s / 2
    assert rises_once(edge, Measured(PERIOD / 2, 1e-5), None, PERIOD, NOISE)
