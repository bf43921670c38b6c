"""The panel: published (CTA-861 line times) and exact (one pixel against fine steps)."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from blinkspan.stage.equipment import Camera, Display
from blinkspan.stage.lens import between_nodes
from blinkspan.stage.light import Pulse
from blinkspan.stage.panel import NODE_PX, Shown, gather, in_bands, settle, view_panel

_EXPOSURE_S = 1 / 480
_LEANING = ((0.27, 0.10), (0.95, 0.03), (0.97, 0.79), (0.25, 0.72))


# CTA-861, VIC 16 (1920x1080p60: 1125 lines of 14.814815 us) and 63 (p120: 7.407407 us);
# totals and clocks as in an operating system's table of the standard.
@pytest.mark.parametrize(
    ("rate", "line_us", "middle_ms", "bottom_ms"),
    [(60, 14.814815, 8.0, 16.0), (120, 7.407407, 4.0, 8.0)],
)
def test_rows_are_scanned_when_the_standard_says(rate, line_us, middle_ms, bottom_ms):
    whole = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
    display = Display(refresh_hz=Fraction(rate), corners=whole)
    view = view_panel(display, 1920, 1080)
    scan_ms = 1e3 * display.scan_fraction / rate
    turn_ms = view.height_at[:, 0] * scan_ms  # of each line's middle
    assert 1e3 * np.diff(turn_ms) == pytest.approx(np.full(1079, line_us), abs=2e-4)
    assert np.mean(turn_ms[539:541]) == pytest.approx(middle_ms, abs=1e-4)
    assert turn_ms[-1] + line_us / 2e3 == pytest.approx(bottom_ms, abs=1e-4)


def _one_pixel(levels, times_s, display, offset_s, start_s, backlight):
    """Return what one pixel gathers, stepped through time without any closed form."""
    dt = 1e-6
    t = np.arange(times_s[0], start_s + _EXPOSURE_S + dt, dt)
    latest = np.searchsorted(np.array(times_s[1:]) + offset_s, t, side="right")
    target = np.array(levels)[latest]
    light, pixel = np.empty_like(t), levels[0]
    for i, wanted in enumerate(target):
        tau_ms = display.rise_ms if wanted > pixel else display.fall_ms
        step = 1.0 if tau_ms == 0 else 1.0 - np.exp(-dt * 1e3 / tau_ms)
        pixel += (wanted - pixel) * step
        light[i] = pixel
    if backlight is not None:
        on = np.mod(t - backlight.phase_s, backlight.period_s) < backlight.duty * backlight.period_s
        light = light * on / backlight.duty
    seen = (t >= start_s) & (t < start_s + _EXPOSURE_S)
    return light[seen].mean()


@pytest.mark.parametrize("backlight", [None, Pulse(1 / 240, 0.4, 0.0002)])
@pytest.mark.parametrize(("rise_ms", "fall_ms"), [(0.0, 0.0), (3.5, 2.5), (1.0, 0.0)])
def test_a_pixel_that_straddles_changes_gathers_its_exact_share(rise_ms, fall_ms, backlight):
    display = Display(rise_ms=rise_ms, fall_ms=fall_ms)
    levels, times_s = [0.2, 0.9, 0.1, 0.6], [-0.01, 0.0, 0.0012, 0.0025]
    shown = [Shown(times_s[0], np.full((1, 1), levels[0], np.float32))]
    for level, at_s in zip(levels[1:], times_s[1:], strict=True):
        shown.append(settle(shown[-1], np.full((1, 1), level, np.float32), at_s, display))
    for start_s in (0.0041, 0.0049, 0.0055, 0.0062):
        got = gather(
            shown, np.array([[0.005]]), np.array([start_s]), _EXPOSURE_S, display, backlight
        )
        stepped = _one_pixel(levels, times_s, display, 0.005, start_s, backlight)
        # a step at each edge of the exposure and of a pulse is all they may differ by
        assert got[0, 0] == pytest.approx(stepped, abs=3e-4 if backlight is None else 1.5e-3)


def test_at_once_is_the_limit_of_a_very_fast_pixel():
    fast, instant = Display(rise_ms=1e-4, fall_ms=1e-4), Display()
    results = []
    for display in (fast, instant):
        first = Shown(-1.0, np.full((1, 1), 0.1, np.float32))
        shown = [first, settle(first, np.full((1, 1), 0.8, np.float32), 0.001, display)]
        got = gather(shown, np.zeros((1, 1)), np.array([0.0]), _EXPOSURE_S, display, None)
        results.append(float(got[0, 0]))
    assert results[0] == pytest.approx(results[1], abs=1e-4)
    assert results[1] == pytest.approx(0.1 + 0.7 * (1 - 0.001 / _EXPOSURE_S), abs=1e-6)


def test_a_leaning_panel_is_timed_nearly_as_exactly_as_a_level_one():
    display = Display(corners=_LEANING)
    view = view_panel(display, 640, 360)
    scan_s = display.scan_fraction / float(display.refresh_hz)
    by_node = between_nodes(view.height_at.astype(np.float32), NODE_PX, view.width) * scan_s
    full = np.ones((view.height, view.width), np.float32)
    shown = [Shown(-1.0, 0 * full), Shown(0.0, full)]
    row_start_s = 0.004 + np.arange(view.height) * 1e-5
    got = gather(
        shown, view.height_at * scan_s, row_start_s, _EXPOSURE_S, display, None, view.width
    )
    overlap = (row_start_s[:, None] + _EXPOSURE_S - by_node) / _EXPOSURE_S
    assert got == pytest.approx(np.clip(overlap, 0, 1), abs=0.02)
    assert np.mean(got - np.clip(overlap, 0, 1)) == pytest.approx(0.0, abs=1e-4)


def test_the_corners_of_a_leaning_panel_lie_where_they_were_put():
    view = view_panel(Display(corners=_LEANING), 640, 360)
    assert view.corners_px == pytest.approx(np.array(_LEANING) * (640, 360))
    middle = view.height_at[view.height // 2]
    assert middle[0] < middle[-1]  # the left side starts lower, so a row there lies higher on it


def test_bands_keep_the_mean():
    rng = np.random.default_rng(3)
    frame = Shown(0.0, rng.random((37, 20)).astype(np.float32))
    edges = np.linspace(0, 37, 5, endpoint=False).astype(np.intp)
    sizes = np.diff(np.append(edges, 37))
    bands = in_bands(frame, edges).full
    assert bands @ sizes / 37 == pytest.approx(float(frame.full.mean()))


def test_the_rolling_shutter_reads_the_last_row_one_readout_later():
    camera = replace(Camera(), readout_ms=3.0)
    assert camera.row_s * (camera.height_px - 1) == pytest.approx(0.003)


def test_a_straight_line_through_nodes_stays_straight():
    nodes = np.arange(6, dtype=np.float32)[None, :] * NODE_PX
    middles = between_nodes(nodes, NODE_PX, 57)
    assert middles[0] == pytest.approx(np.arange(57) + 0.5)
