"""The camera: published (transfer curves), exact (noise, stamps)."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from blinkspan.footage.frames import TransferCurve
from blinkspan.stage.camera import (
    code_table,
    coded,
    exposed,
    noise_bank,
    plan_shots,
    plan_sway,
)
from blinkspan.stage.equipment import Camera, Film


# ITU-R BT.709-6: light 0.18 is code 105.57 and 0.5 is 170.51 of 16 to 235.
# IEC 61966-2-1: light 0.18 is 0.461356 and 0.5 is 0.735357 of full scale.
@pytest.mark.parametrize(
    ("curve", "light", "code"),
    [
        (TransferCurve.BT709, 0.18, 105.57),
        (TransferCurve.BT709, 0.5, 170.51),
        (TransferCurve.SRGB, 0.18, 16 + 219 * 0.461356),
        (TransferCurve.SRGB, 0.5, 16 + 219 * 0.735357),
        (TransferCurve.LINEAR, 0.5, 125.5),
        (TransferCurve.BT709, 0.0, 16),
        (TransferCurve.BT709, 1.0, 235),
    ],
)
def test_light_is_coded_as_the_standards_say(curve, light, code):
    got = coded(np.array([light], np.float32), code_table(curve))[0]
    assert abs(int(got) - code) <= 0.51


def test_light_outside_the_range_is_clipped():
    table = code_table(TransferCurve.BT709)
    assert coded(np.array([-0.2, 7.0], np.float32), table).tolist() == [16, 235]


@pytest.mark.parametrize("level", [0.0, 0.05, 0.5])
def test_noise_has_the_variance_of_counted_electrons_and_readout(level):
    camera = Camera(full_well_e=4000.0, read_noise=0.004)
    rng = np.random.default_rng(6)
    light = np.full((camera.height_px, camera.width_px), level, np.float32)
    noisy = exposed(light.copy(), camera, noise_bank(camera, rng), rng)
    assert noisy.var() == pytest.approx(level / 4000 + 0.004**2, rel=0.02)
    assert noisy.mean() == pytest.approx(level, abs=1e-4)


def test_a_true_clock_steps_evenly():
    shots = plan_shots(Camera(), Film(), 1.0, np.random.default_rng(1))
    assert shots.even
    assert shots.start_s == pytest.approx(np.arange(240) / 240)
    assert shots.stamps[7] == Fraction(7, 240)


def test_a_fast_clock_steps_sooner_than_it_says():
    camera = Camera(clock_ppm=1000.0)
    shots = plan_shots(camera, Film(), 1.0, np.random.default_rng(1))
    assert shots.start_s[200] == pytest.approx(200 / 240 / 1.001)
    assert shots.stamps[200] == Fraction(200, 240)


def test_dropped_frames_leave_gaps_in_the_stamps():
    camera = Camera(dropped_frames=0.1)
    shots = plan_shots(camera, Film(), 4.0, np.random.default_rng(1))
    steps = np.rint(np.diff(shots.start_s) * 240).astype(int)
    assert shots.dropped == np.sum(steps - 1) > 60
    told = np.array([float(stamp) for stamp in shots.stamps])
    assert told == pytest.approx(shots.start_s)
    assert not shots.even


def test_wandering_frames_tell_their_true_times():
    camera = Camera(rate_wander=0.05)
    shots = plan_shots(camera, Film(), 4.0, np.random.default_rng(1))
    told = np.array([float(stamp) for stamp in shots.stamps])
    assert told == pytest.approx(shots.start_s, abs=0.51 / 90_000)
    assert np.std(np.diff(shots.start_s)) == pytest.approx(0.05 * np.sqrt(2) / 240, rel=0.1)


def test_slow_motion_stamps_are_stretched():
    film = Film(stamped_hz=Fraction(30))
    shots = plan_shots(Camera(), film, 1.0, np.random.default_rng(1))
    assert shots.stamps[24] == Fraction(24, 30)
    assert shots.start_s[24] == pytest.approx(0.1)


def test_sway_is_smooth_and_as_large_as_asked():
    camera = replace(Camera(), shake_px=1.5)
    sway = plan_sway(camera, np.random.default_rng(2))
    path = np.array([sway.at(t) for t in np.arange(0, 60, 1 / 240)])
    assert np.sqrt((path**2).mean(axis=0)) == pytest.approx([1.5, 1.5], rel=0.05)
    assert np.abs(np.diff(path, axis=0)).max() < 0.15
