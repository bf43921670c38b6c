"""Answers of a panel that keeps step with the camera: an encoder does the same to all of them."""

from types import SimpleNamespace

import numpy as np
import pytest

from blinkspan.presses.panel_step import _in_step
from blinkspan.quantities import Measured
from presses.array_film import measured, staged

PERIOD_S = 1 / 240


def step_of(refresh_hz: float) -> SimpleNamespace:
    ticks = np.array([40, 88, 137, 185, 233, 281, 330, 378])
    return SimpleNamespace(begins=[Measured(float(t), 1e-4) for t in 0.0011 + ticks / refresh_hz])


def test_a_panel_of_60_hz_keeps_step_with_240_frames_a_second():
    assert _in_step(step_of(60.0), PERIOD_S)


def test_a_panel_of_59_94_hz_begins_at_all_places_between_two_frames():
    assert not _in_step(step_of(60000 / 1001), PERIOD_S)


@pytest.mark.parametrize("readout_s", [0.001, 0.0036])
def test_a_slow_panel_in_step_with_a_short_exposure_does_not_pass_for_a_fast_one(readout_s):
    film = staged(count=10, response_time_s=0.005, exposure_s=0.4 * PERIOD_S, readout_s=readout_s)
    presses = measured(film).presses
    off_s = [
        press.response.value - there for press, there in zip(presses, film.responses_s, strict=True)
    ]
    assert abs(np.mean(off_s)) < 0.0008
    assert all(abs(off) < 2 * press.response.u for off, press in zip(off_s, presses, strict=True))
