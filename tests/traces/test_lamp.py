"""lamp_trace: exact (levels by construction) and refusals."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from blinkspan.errors import NothingToMeasure
from blinkspan.footage.frames import Clock, PictureFormat, TransferCurve
from blinkspan.traces.lamp import lamp_trace
from blinkspan.traces.light import FULL_SCALE
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Rectangle

N = 400
LIT = np.zeros(N)
LIT[100:130] = LIT[250:280] = 1.0
LIT[99] = 0.4


def series(lamp, clipped=None, around=None) -> Series:
    """Return a series of which only the lamp matters; light of 0 to 1."""
    rng = np.random.default_rng(1)
    lamp = lamp + rng.normal(0, 0.002, lamp.shape)
    to_light = lambda a: np.clip(a * FULL_SCALE, 0, FULL_SCALE).astype(np.uint16)  # noqa: E731
    return Series(
        Clock(np.arange(N) / 240, Fraction(240), "made"),
        PictureFormat(64, 64, 8, True, TransferCurve.LINEAR),
        Rectangle(0, 40, 4, 4),
        Rectangle(10, 10, 8, 8),
        to_light(lamp),
        np.zeros(N, bool) if clipped is None else clipped,
        to_light(np.full(N, 0.05) if around is None else around),
        np.zeros((N, 8, 8), np.uint16),
    )


def spot(levels) -> np.ndarray:
    return np.broadcast_to(np.reshape(levels, (-1, 1, 1)), (N, 4, 4))


def test_dark_is_0_lit_is_1_and_a_part_is_its_share():
    found = lamp_trace(series(spot(0.1 + 0.5 * LIT)), row_s=0.0)
    assert found.trace.values[99] == pytest.approx(0.4, abs=0.01)
    assert np.median(found.trace.values[100:130]) == pytest.approx(1.0, abs=0.01)
    assert np.median(found.trace.values[:90]) == pytest.approx(0.0, abs=0.01)
    assert not found.clipped


def test_the_lamps_own_row_sets_its_clock():
    still = lamp_trace(series(spot(LIT)), row_s=0.0)
    rolling = lamp_trace(series(spot(LIT)), row_s=1e-5)
    assert rolling.trace.start_s - still.trace.start_s == pytest.approx(42 * 1e-5)


def test_mains_flicker_that_the_ring_sees_is_taken_off():
    flicker = 0.05 * np.sin(2 * np.pi * 100 * np.arange(N) / 240)
    flickering = spot(0.1 + 0.4 * LIT + flicker)
    plain = lamp_trace(series(flickering), row_s=0.0)
    freed = lamp_trace(series(flickering, around=0.2 + flicker), row_s=0.0)
    assert freed.noise < 0.2 * plain.noise
    assert freed.trace.values[99] == pytest.approx(0.4, abs=0.02)


def test_mains_flicker_that_alternates_from_frame_to_frame_is_taken_off_whole():
    # Common practice: lamps on 60 Hz mains flicker at 120 Hz, every other frame at 240 a second.
    room = np.where(np.arange(N) % 2, 0.09, 0.05)
    found = lamp_trace(series(spot(0.1 + 0.12 * LIT + 1.4 * room), around=room), row_s=0.0)
    dark = np.r_[0:90, 140:240, 290:N]
    assert np.abs(found.trace.values[dark]).max() < 0.1
    assert found.trace.values[99] == pytest.approx(0.4, abs=0.1)


def test_a_clipped_lamp_is_read_from_its_glow():
    pixels = np.array(spot(0.02 + 3.0 * LIT))
    pixels[:, :, 2:] = (0.02 + 0.3 * LIT)[:, None, None]
    found = lamp_trace(series(np.minimum(pixels, 1.0), clipped=LIT > 0), row_s=0.0)
    assert not found.clipped
    assert found.trace.values[99] == pytest.approx(0.4, abs=0.02)
    # How far a part is lit is in doubt, not that it is: the latter tells of the exposure.
    assert found.steady_noise < 0.02 < found.noise


def test_a_lamp_clipped_all_over_is_told():
    found = lamp_trace(series(np.minimum(spot(0.02 + 3.0 * LIT), 1.0), clipped=LIT > 0), 0.0)
    assert found.clipped


@pytest.mark.parametrize(
    ("level", "words"), [(0.02, "no lamp found"), (0.7, "always on")], ids=["dark", "lit"]
)
def test_a_region_that_never_changes_is_refused(level, words):
    with pytest.raises(NothingToMeasure, match=words):
        lamp_trace(series(spot(np.full(N, level))), row_s=0.0)


def test_a_lamp_that_is_always_on_and_drifts_never_blinks():
    drift = 0.02 * np.sin(2 * np.pi * np.arange(N) / N)
    with pytest.raises(NothingToMeasure, match="always on"):
        lamp_trace(series(spot(0.7 + drift)), row_s=0.0)


def test_a_lamp_that_an_encoder_mends_over_some_frames_is_not_pulsed():
    mended = LIT * (1 - 0.08 * np.exp(-(np.arange(N) % 30) / 8))
    mended[250:280] *= 1.1  # and draws brighter at the next press
    found = lamp_trace(series(spot(0.02 + 0.5 * mended)), row_s=0.0)
    assert not found.pulsed
    assert found.noise < 0.04


def test_a_lamp_whose_light_comes_in_pulses_is_told():
    pulses = 2 + (np.arange(N) * 0.37 % 1 < 0.5)  # so many does each exposure see
    found = lamp_trace(series(spot(0.02 + 0.1 * LIT * pulses)), row_s=0.0)
    assert found.pulsed


def test_a_coarse_encoder_leaves_more_in_doubt_of_a_lamp():
    fine = series(spot(0.1 + 0.5 * LIT))
    coarse = replace(fine, picture=replace(fine.picture, coarseness=3.0))
    assert lamp_trace(coarse, row_s=0.0).noise > 2 * lamp_trace(fine, row_s=0.0).noise
