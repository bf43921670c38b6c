"""How a lamp rises: exact (made from the model) and the honesty of the stated doubt."""

import numpy as np
import pytest

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


def test_a_frame_that_goes_dark_again_is_no_single_rise():
    exposure = Measured(PERIOD / 2, 0.0001)
    once = np.array([0.0, 0.0, 0.0, 0.4, 1.0, 1.0, 1.0, 1.0])
    twice = np.array([0.0, 0.0, 0.0, 0.98, 0.5, 1.0, 1.0, 1.0])
    for levels, single in ((once, True), (twice, False)):
        edge = rising(levels, START[:8], 4 if single else 3, 9)
        assert rises_once(edge, exposure, None, PERIOD, NOISE) is single
