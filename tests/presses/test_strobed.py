"""A panel under a strobed backlight: known footage made of arrays, exact in time.

A flash is light for a part of each refresh and lights all rows at once; what an exposure
gathers of it is an overlap of two intervals, written out here once more and by hand.
"""

from fractions import Fraction

import numpy as np
import pytest

from blinkspan.footage.frames import Clock, PictureFormat, TransferCurve
from blinkspan.onsets.strobe import find_strobe, overlap
from blinkspan.presses.measuring import measure_presses
from blinkspan.presses.press import Verdict
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Quadrilateral, Rectangle, Regions

RATE_HZ, EXPOSURE_S, ROW_S = 240, 0.0022, 2e-5
REFRESH_HZ, FLASH_S, FIRST_FLASH_S = 60000 / 1001, 0.0030, 0.0051
LAMP, WATCH = Rectangle(4, 150, 10, 10), Rectangle(60, 60, 40, 40)
PANEL = Quadrilateral(((40.0, 30.0), (200.0, 30.0), (200.0, 150.0), (40.0, 150.0)))


def flash_after(at_s: float) -> float:
    return FIRST_FLASH_S + np.ceil((at_s - FIRST_FLASH_S) * REFRESH_HZ) / REFRESH_HZ


def gathered(from_s, until_s, start_s):
    """Share of an exposure's flash that falls between two instants, all seconds."""
    first, last = np.maximum(start_s, from_s), np.minimum(start_s + EXPOSURE_S, until_s)
    return np.maximum(last - first, 0.0) / FLASH_S


def strobed_take(presses: int = 10, *, strobed: bool = True) -> tuple[Series, np.ndarray]:
    """Return a take and the true spans of its presses."""
    rng = np.random.default_rng(11)
    lamp_s = 0.7 + 0.65 * np.arange(presses) + rng.uniform(0, 0.016, presses)
    answer_s = np.array([flash_after(t + 0.055 + rng.uniform(0, 0.016)) for t in lamp_s])
    n = round((lamp_s[-1] + 1.0) * RATE_HZ)
    start_s = np.arange(n) / RATE_HZ
    rows_px = WATCH.y + np.arange(WATCH.height) + 0.5
    row_start_s = start_s[:, None] + ROW_S * rows_px
    number = np.rint((row_start_s + EXPOSURE_S / 2 - FIRST_FLASH_S - FLASH_S / 2) * REFRESH_HZ)
    begin_s = FIRST_FLASH_S + number / REFRESH_HZ
    share = gathered(begin_s, begin_s + FLASH_S, row_start_s) if strobed else 0.7 + 0 * begin_s
    bright = np.zeros(begin_s.shape)
    for at in answer_s:
        bright += (begin_s > at - 1e-6) & (begin_s < at + 0.050)
    look = rng.uniform(0.1, 0.5, (WATCH.height, WATCH.width))
    light = (look + 0.4 * bright[..., None]) * share[..., None] + 0.002
    light += rng.normal(0, 0.003, light.shape)
    lamp = np.zeros(n)
    for at in lamp_s:
        row = start_s + ROW_S * LAMP.middle_row_px
        lamp += np.clip((row + EXPOSURE_S - at) / EXPOSURE_S, 0, 1) * (row < at + 0.1)
    patch = 0.02 + 0.6 * lamp[:, None, None] * np.ones((1, 10, 10))
    patch += rng.normal(0, 0.003, patch.shape)
    series = Series(
        Clock(start_s, Fraction(RATE_HZ), "made of arrays"),
        PictureFormat(240, 180, 8, True, TransferCurve.LINEAR),
        LAMP,
        WATCH,
        np.rint(np.clip(patch, 0, 1) * 65535).astype(np.uint16),
        np.zeros(n, np.bool_),
        np.full(n, 1000, np.uint16),
        np.rint(np.clip(light, 0, 1) * 65535).astype(np.uint16),
    )
    return series, answer_s - lamp_s


def test_an_answer_begins_with_the_flash_that_first_shows_it():
    series, true_s = strobed_take()
    found = measure_presses(
        series,
        Regions(LAMP, PANEL, WATCH),
        CameraProfile(),
        DisplayProfile(refresh_hz=REFRESH_HZ, game_rate_hz=60.0),
    )
    off_s = np.array([p.span.value for p in found.presses]) - true_s
    assert [p.verdict for p in found.presses] == [Verdict.ACCEPTED] * true_s.size
    assert np.abs(off_s).max() < 0.0015  # the lamp's dead time; a wrong flash is 17 ms off
    assert np.mean(np.abs(off_s) <= [2 * p.span.u for p in found.presses]) >= 0.9
    # The readout is the picture's height times a row, told by the flashes alone.
    assert found.camera.readout_s.value == pytest.approx(180 * ROW_S, rel=0.03)
    assert found.camera.readout_source == "from the take"
    assert any("flashes of a strobed backlight" in note for note in found.notes)


def test_flashes_are_found_with_their_rate_length_and_instants():
    series, _ = strobed_take()
    strobe = find_strobe(
        series.watch,
        series.watch_row_px,
        series.clock,
        Measured(EXPOSURE_S, 0.0002),
        Measured(0.0, 3e-5),
        [REFRESH_HZ, 60.0],
    )
    assert strobe.rate_hz == pytest.approx(REFRESH_HZ, rel=3e-6)
    assert strobe.length_s == pytest.approx(FLASH_S, abs=2 * strobe.exposure_s.u)
    assert strobe.exposure_s.value == pytest.approx(EXPOSURE_S, abs=2 * strobe.exposure_s.u)
    assert strobe.exposure_s.u < 0.0002
    zero_s = strobe.zero_s.value + ROW_S * strobe.row_px  # true time at that row
    off_s = (zero_s - FIRST_FLASH_S) * REFRESH_HZ
    assert (off_s - round(off_s)) / REFRESH_HZ == pytest.approx(0.0, abs=2 * strobe.zero_s.u)


def test_a_steady_backlight_is_no_strobe():
    series, _ = strobed_take(strobed=False)
    rates = [REFRESH_HZ, 60.0, 120.0, 50.0]
    exposure = Measured(EXPOSURE_S, 0.0005)
    found = find_strobe(
        series.watch, series.watch_row_px, series.clock, exposure, Measured(0.0, 3e-5), rates
    )
    assert found is None


def test_shares_of_a_flash_by_hand():
    # An exposure of 2 and a flash of 3, begun 1 after the flash, 4 after it, 1 before it.
    shares = overlap(np.array([1.0, 4.0, -1.0, 2.5]), 2.0, 3.0)
    assert shares.tolist() == pytest.approx([2 / 3, 0.0, 1 / 3, 0.5 / 3])
