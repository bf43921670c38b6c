"""Integrals of light: exact (against sums over fine steps, and as properties)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blinkspan.stage.backlight import first_light_s
from blinkspan.stage.light import Pulse, fading, flicker, lit

_STEPS = 100_000
_PULSES = [
    None,
    Pulse(1 / 240, 0.4, 0.0013),
    Pulse(1 / 1000, 0.1, 0.0),
    Pulse(1 / 25_000, 0.5, 0.00001),
    Pulse(1 / 60, 0.15, -0.004),
]


def _level(t, pulse):
    if pulse is None:
        return np.ones_like(t)
    return (np.mod(t - pulse.phase_s, pulse.period_s) < pulse.duty * pulse.period_s) / pulse.duty


def _middles(start, stop):
    return start + (np.arange(_STEPS) + 0.5) * (stop - start) / _STEPS


@pytest.mark.parametrize("pulse", _PULSES)
@pytest.mark.parametrize(("start", "stop"), [(0.0031, 0.0052), (1.23456, 1.25), (7.0, 7.0001)])
def test_gathered_light_equals_a_sum_over_fine_steps(pulse, start, stop):
    summed = _level(_middles(start, stop), pulse).mean() * (stop - start)
    exact = lit(np.array([start]), np.array([stop]), pulse)[0]
    assert exact == pytest.approx(summed, abs=2e-5 * (stop - start) / (pulse.duty if pulse else 1))


@pytest.mark.parametrize("pulse", _PULSES)
@pytest.mark.parametrize("tau_s", [0.0001, 0.002, 0.05])
@pytest.mark.parametrize(("start", "stop"), [(1.0, 1.0042), (1.0021, 1.0187)])
def test_fading_light_equals_a_sum_over_fine_steps(pulse, tau_s, start, stop):
    t = _middles(start, stop)
    summed = (_level(t, pulse) * np.exp(-(t - 1.0) / tau_s)).mean() * (stop - start)
    exact = fading(np.array([start]), np.array([stop]), np.array([1.0]), tau_s, pulse)[0]
    assert exact == pytest.approx(summed, rel=2e-3, abs=1e-9)


@given(
    st.floats(0.0, 10.0),
    st.floats(0.0, 0.02),
    st.floats(0.0, 0.02),
    st.floats(0.0002, 0.1),
    st.floats(0.05, 1.0),
    st.floats(0.0003, 0.03),
)
def test_two_stretches_gather_what_the_whole_gathers(start, first, second, period, duty, tau_s):
    pulse = Pulse(period, duty, 0.0007)
    a, b, c = (np.array([t]) for t in (start, start + first, start + first + second))
    assert lit(a, b, pulse) + lit(b, c, pulse) == pytest.approx(lit(a, c, pulse), abs=1e-10)
    parts = fading(a, b, a, tau_s, pulse) + fading(b, c, a, tau_s, pulse)
    assert parts == pytest.approx(fading(a, c, a, tau_s, pulse), abs=1e-10)


def test_flicker_is_the_mean_over_the_exposure():
    t = _middles(0.0103, 0.0103 + 0.0021)
    summed = (1 + 0.35 * np.cos(2 * np.pi * 100 * t + 0.4)).mean()
    assert flicker(np.array([0.0103]), 0.0021, 100.0, 0.35, 0.4)[0] == pytest.approx(summed)


def test_flicker_vanishes_where_the_exposure_is_one_period_of_it():
    starts = np.linspace(0, 0.03, 50)
    assert flicker(starts, 1 / 120, 120.0, 0.5, 0.3) == pytest.approx(np.ones(50))


def test_a_change_behind_a_strobed_backlight_is_first_seen_when_it_flashes():
    flashes = Pulse(period_s=0.02, duty=0.1, phase_s=0.005)
    assert first_light_s(0.006, flashes) == 0.006  # while it is on
    assert first_light_s(0.010, flashes) == pytest.approx(0.025)  # 0.005 + 0.02
    assert first_light_s(0.010, None) == 0.010
