"""The drift of a view: exact (a picture moved by known parts of a cell), and what is no drift."""

import numpy as np
import pytest
from scipy import ndimage

from blinkspan.onsets.drift import learn_drift, look_at, velocity_before
from blinkspan.onsets.idle import Moments, learn_idle
from blinkspan.onsets.look import change_since
from blinkspan.traces.light import FULL_SCALE

PERIOD = 1 / 240
MOMENTS = [60, 90, 120]
REACH = 24
TICK = 4  # frames that a game frame stays, at 60 a second


@pytest.fixture(scope="module")
def texture():
    rng = np.random.default_rng(3)
    return 0.3 + 0.05 * ndimage.gaussian_filter(rng.standard_normal((72, 160)), 2.0) / 0.14


def film_of(texture, cells_a_frame, *, tick=1, noise=0.002, figure=True):
    """Return 150 frames of a window onto a texture that moves sideways, in steps of ``tick``."""
    rng = np.random.default_rng(4)
    frames = []
    for n in range(150):
        at = cells_a_frame * (n // tick * tick)
        picture = ndimage.shift(texture, (0, at), order=5, mode="grid-wrap")[4:52, 30:114].copy()
        if figure:
            picture[20:44, 30:45] = 0.1  # stands still, as a game's figure does
            picture[28:36, 35:40] = 0.6
        frames.append(picture + noise * rng.standard_normal(picture.shape))
    return np.clip(np.stack(frames) * FULL_SCALE, 0, FULL_SCALE).astype(np.uint16)


@pytest.mark.parametrize(
    ("cells_a_frame", "figure"),
    [(-0.3, False), (0.7, False), (-0.016, False), (-0.016, True), (0.05, True)],
)
def test_the_speed_of_a_drift_is_found_beside_what_stands_still(texture, cells_a_frame, figure):
    film = film_of(texture, cells_a_frame, figure=figure)
    drift = learn_drift(film, MOMENTS, REACH, PERIOD)
    across, down = velocity_before(film, 100, PERIOD, drift.standing)
    assert across == pytest.approx(cells_a_frame, rel=0.05)
    assert down == pytest.approx(0.0, abs=0.002)


def test_a_drift_that_goes_by_game_frames_is_foretold(texture):
    film = film_of(texture, -0.05, tick=TICK)
    drift = learn_drift(film, MOMENTS, REACH, PERIOD)
    assert drift.standing[24:40, 32:43].mean() > 0.8 > 0.1 > drift.standing[:, 55:].mean()
    still, foretold = (
        change_since(film, 120, 144, look_at(film, 120, PERIOD, d)) for d in (None, drift)
    )
    assert (foretold**2).mean() < 0.1 * (still**2).mean()


def test_noise_light_and_what_comes_and_goes_are_no_drift(texture):
    rest = film_of(texture, 0.0)
    assert not learn_drift(rest, MOMENTS, REACH, PERIOD)
    flicker = 1 + 0.2 * np.sin(np.arange(150) / 3)[:, None, None]
    assert not learn_drift((rest * flicker / 1.3).astype(np.uint16), MOMENTS, REACH, PERIOD)
    sway = film_of(texture, 0.0)
    sway[:, 20:30, 20:30] = np.roll(sway[:, 20:30, 20:30], 1, axis=2)
    assert not learn_idle(sway, Moments(MOMENTS, REACH), PERIOD).drift
