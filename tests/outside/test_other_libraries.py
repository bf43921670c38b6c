"""Other people's programs judge ours on the same data.

Change points: ``ruptures``, dynamic programming for one change of mean (C. Truong,
L. Oudre, N. Vayatis, "Selective review of offline change point detection methods",
Signal Processing 167 (2020) 107299). Shifts: scikit-image's upsampled phase
correlation (M. Guizar-Sicairos, S. T. Thurman, J. R. Fienup, "Efficient subpixel
image registration algorithms", Optics Letters 33 (2008) 156-158).
"""

import cv2
import numpy as np
import pytest
import ruptures
from scipy.ndimage import shift
from skimage import data
from skimage.registration import phase_cross_correlation

from blinkspan.onsets.idle import Idle, Moments
from blinkspan.onsets.look import look_before
from blinkspan.onsets.pattern import FEATURES, Pattern, features
from blinkspan.traces.light import FULL_SCALE
from presses.array_film import measured, series_of, staged


@pytest.fixture(scope="module")
def taken():
    """Return a film, its small film of the watched part, and what was measured of it."""
    film = staged(count=8, seed=6, exposure_s=0.0025)
    return film, series_of(film), measured(film)


def first_frame_after(trace: np.ndarray, near: int, reach: int) -> int:
    """Return the first frame of the new level, found by the other library."""
    window = trace[near - reach : near + reach, None].astype(float)
    change, _ = ruptures.Dynp(model="l2", min_size=3, jump=1).fit_predict(window, n_bkps=1)
    return near - reach + change


def test_lamp_onsets_lie_in_the_frame_at_which_ruptures_sees_the_change(taken):
    film, series, found = taken
    light = series.lamp.mean(axis=(1, 2))
    start_s, period_s = series.clock.start_s, series.clock.period_s
    for press, on_s in zip(found.presses, film.lamp_on_s, strict=True):
        frame = first_frame_after(light, round(on_s / period_s), 16)
        # A frame lit by less than half counts to the darkness for a change of mean.
        low = start_s[frame - 1]
        assert low <= press.lamp_on.value <= start_s[frame] + film.exposure_s


def test_responses_lie_in_the_frame_at_which_ruptures_sees_the_change(taken):
    film, series, found = taken
    # The rows about the middle of the watched part, for which the response is stated.
    middle = series.watch.shape[1] // 2
    light = series.watch[:, middle - 2 : middle + 2, 8:32].mean(axis=(1, 2))
    start_s, period_s = series.clock.start_s, series.clock.period_s
    for press, true_s in zip(found.presses, film.responses_s, strict=True):
        frame = first_frame_after(light, round(true_s / period_s), 10)
        u = press.response.u
        low = start_s[frame - 1] - 2 * u
        assert low <= press.response.value <= start_s[frame] + film.exposure_s + 2 * u


@pytest.mark.parametrize("down_px", [-0.3, 0.0, 0.2])
@pytest.mark.parametrize("right_px", [-0.4, -0.1, 0.25])
def test_slides_agree_with_phase_correlation(right_px, down_px):
    # A photograph, blurred as a lens blurs, at the size of the small film.
    picture = cv2.resize(cv2.GaussianBlur(data.camera(), (0, 0), 9), (128, 72)).astype(float)
    moved = shift(picture, (down_px, right_px), order=5, mode="nearest")
    film = np.rint(np.stack([picture] * 24 + [moved] * 4) / 255 * FULL_SCALE).astype(np.uint16)
    # The judge takes pictures as endless tiles: a window takes away the seams it would see.
    window = np.outer(np.hanning(72), np.hanning(128))
    one, other = ((each - picture.mean()) * window for each in (picture, moved))
    back, _, _ = phase_cross_correlation(one, other, upsample_factor=100, normalization=None)
    assert -back == pytest.approx([down_px, right_px], abs=0.08)  # the judge knows its work
    found = slid(film, 24)
    assert found == pytest.approx(-back, abs=0.08)


def slid(film: np.ndarray, frame: int) -> np.ndarray:
    """Return how far, down and right, the core's features say that a picture has slid."""
    still = np.zeros(film.shape[1:], np.float32)
    bands = ((0, film.shape[1]),)
    row = np.ones(1)
    pattern = Pattern(still, still, bands, row, row, np.ones((1, FEATURES)), 0.0)
    before = look_before(film, frame, 1 / 240)
    idle = Idle(Moments([0], 4), np.full(film.shape[1:], 0.01, np.float32), [before])
    found = features(film, frame, frame + 1, before, idle, pattern)[0, 0]
    # Along unit vectors of the picture's own slopes: f(x - d) - f(x) = -d f'(x), to first order.
    # Where the slopes of both directions have something in common it is shared out.
    slopes = np.stack([each.ravel() / 0.01 for each in np.gradient(before.light.astype(float))])
    length = np.linalg.norm(slopes, axis=1)
    common = (slopes / length[:, None]) @ (slopes / length[:, None]).T
    return -np.linalg.solve(common, found[[3, 2]]) / length
