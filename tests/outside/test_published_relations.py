"""Relations that others published, held against the core: published and exact checks.

- JCGM 101:2008, 5 to 7: distributions propagated by Monte Carlo. JCGM 100:2008,
  4.3.7 and 4.3.9: T / sqrt(12) for one instant known to a step T, T / sqrt(6) for the
  difference of two (clause numbers from memory; the values follow by algebra).
- CTA-861, total and active lines, as an operating system's table of the standard
  gives them; pixel clocks 148.5, 297, 594 and 1188 MHz.
- M. Meingast, C. Geyer, S. Sastry, "Geometric models of rolling-shutter cameras"
  (2005, arXiv cs/0503076): rows are exposed one after another at a constant rate, so
  that two rows' instants differ by the row delay times the rows between them (the
  abstract was read; the relation as stated here is from memory).
"""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from blinkspan.onsets.edge import rising_edge
from blinkspan.onsets.step import Step
from blinkspan.presses.shutter import readout_from_slant
from blinkspan.profiles import CTA_SCAN_FRACTION, CameraProfile, DisplayProfile, usual_readout
from blinkspan.quantities import Measured, triangular
from blinkspan.stage.equipment import Display
from blinkspan.traces.regions import Regions
from presses.array_film import HEIGHT, LAMP, PANEL, WATCH, measured, series_of, staged

PERIOD_S = 1 / 240
DRAWS = 200_000


def test_two_instants_read_to_a_frame_differ_by_a_triangle():
    # JCGM 101: the model is a difference of two rectangular quantities, drawn and sorted.
    rng = np.random.default_rng(101)
    lamp_s, answer_s = rng.uniform(0, 1, DRAWS), rng.uniform(1, 2, DRAWS)
    counted = np.floor(answer_s / PERIOD_S) - np.floor(lamp_s / PERIOD_S)
    error_s = counted * PERIOD_S - (answer_s - lamp_s)
    assert error_s.std() == pytest.approx(triangular(PERIOD_S), rel=0.01)
    assert triangular(PERIOD_S) == pytest.approx(1.701e-3, abs=1e-6)
    # The 95 % interval of a triangle: T (1 - sqrt(0.05)), not 1.96 T / sqrt(6).
    half_s = np.quantile(np.abs(error_s), 0.95)
    assert half_s == pytest.approx((1 - 0.05**0.5) * PERIOD_S, rel=0.01)


def test_two_edges_without_exposure_are_known_as_well_as_counting_and_no_better():
    # The core itself on exposures too short to catch an edge half way: its stated doubt of a
    # difference must be the Monte Carlo's own spread.
    rng = np.random.default_rng(7)
    start_s = np.arange(12) * PERIOD_S
    exposure = Measured(PERIOD_S * 1e-3, 0.0)
    errors_s, stated_s = [], []
    for lamp_s, answer_s in rng.uniform(5, 6, (4000, 2)) * PERIOD_S:
        one, other = (
            rising_edge((start_s >= at) * 1.0, start_s, int(np.argmax(start_s >= at)), exposure, 0)
            for at in (lamp_s, answer_s)
        )
        span = other.at_s - one.at_s
        errors_s.append(span.value - (answer_s - lamp_s))
        stated_s.append(span.u)
    assert np.std(errors_s) == pytest.approx(triangular(PERIOD_S), rel=0.04)
    assert np.mean(stated_s) == pytest.approx(triangular(PERIOD_S), rel=0.01)


# Format: pixel clock in MHz, total by active columns, total by active lines, refresh in Hz.
CTA_861 = {
    "VIC 4, 1280x720p60": (74.25, 1650, 1280, 750, 720, 60),
    "VIC 16, 1920x1080p60": (148.5, 2200, 1920, 1125, 1080, 60),
    "VIC 63, 1920x1080p120": (297.0, 2200, 1920, 1125, 1080, 120),
    "VIC 97, 3840x2160p60": (594.0, 4400, 3840, 2250, 2160, 60),
    "VIC 118, 3840x2160p120": (1188.0, 4400, 3840, 2250, 2160, 120),
}


@pytest.mark.parametrize("name", CTA_861)
def test_the_scan_takes_the_standards_share_of_a_refresh(name):
    clock_mhz, columns, _, lines, active, refresh_hz = CTA_861[name]
    assert clock_mhz * 1e6 == columns * lines * refresh_hz  # the row agrees with itself
    scan_s = active * columns / (clock_mhz * 1e6)
    assert CTA_SCAN_FRACTION / refresh_hz == pytest.approx(scan_s, rel=1e-12)
    display = Display(refresh_hz=Fraction(refresh_hz))
    assert float(display.scan_fraction) / refresh_hz == pytest.approx(scan_s, rel=1e-12)


@pytest.fixture(scope="module")
def filmed():
    film = staged(count=6, seed=9, readout_s=0.0036)
    return film, series_of(film)


def test_the_span_moves_by_row_delay_times_rows(filmed):
    film, _ = filmed
    rows = WATCH.middle_row_px - LAMP.middle_row_px
    lamp_ms, answer_ms = [], []
    for readout_s in (0.0, film.readout_s):
        camera = CameraProfile(Measured(film.exposure_s, 1e-5), Measured(readout_s, 1e-6))
        found = measured(film, camera=camera, panel=None)
        lamp_ms.append([1e3 * p.lamp_on.value for p in found.presses])
        answer_ms.append([1e3 * p.response.value for p in found.presses])
    moved = np.diff(lamp_ms, axis=0)[0]
    # The lamp's row begins its exposure so much after row 0 (to nanoseconds: the exposure is
    # learnt anew each time).
    delay_ms = 1e3 * film.readout_s / HEIGHT
    assert moved == pytest.approx(np.full(6, delay_ms * LAMP.middle_row_px), abs=1e-5)
    skew = np.diff(answer_ms, axis=0)[0] - moved
    assert skew == pytest.approx(np.full(6, delay_ms * rows), abs=0.12)


def test_a_camera_turned_over_shows_the_shutter_with_the_other_sign(filmed):
    film, _ = filmed
    rows = WATCH.middle_row_px - LAMP.middle_row_px
    camera = CameraProfile(Measured(film.exposure_s, 1e-5), Measured(0.0, 1e-6))
    bare = [
        np.mean([p.span.value for p in measured(each, camera=camera, panel=None).presses])
        for each in (replace(film, readout_s=0.0), film)
    ]
    # Uncorrected, the lamp below the answer is exposed later and seen too early in frames.
    assert bare[1] - bare[0] == pytest.approx(-rows * film.readout_s / HEIGHT, abs=3e-4)


def test_a_scan_less_its_slant_is_the_readout(filmed):
    # The same relation solved for the camera: slant = scan delay a row - readout delay a row.
    _, series = filmed
    regions = Regions(LAMP, PANEL, WATCH)
    panel_px, true_row_s = 50.0, 0.0030 / HEIGHT  # PANEL's height; 3 ms of readout
    scan_s = 1080 / 1125 / 60 / panel_px
    slant = Measured(scan_s - true_row_s, 1e-6)
    nothing = np.zeros(1)
    exposure = Measured(0.002, 0.0)
    step = Step(29.0, (), 0.0, None, 0.0, slant, exposure, exposure, nothing, nothing)
    found = readout_from_slant(
        series, regions, CameraProfile(), DisplayProfile(refresh_hz=60.0), step
    )
    assert found.source == "from the take"
    told = Measured(true_row_s, float(np.hypot(1e-6, 0.02 * scan_s))) * HEIGHT
    held = told.weighed_with(usual_readout(series.clock.period_s))
    assert found.whole_s.value == pytest.approx(held.value, rel=1e-9)
    assert found.whole_s.u == pytest.approx(held.u, rel=1e-9)
