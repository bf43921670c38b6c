"""What the slant of the rows may be before the answers are fitted, and the readout from it."""

from dataclasses import replace

import numpy as np
import pytest

from blinkspan.footage.frames import PictureFormat, Shutter, TransferCurve
from blinkspan.onsets.ticks import Ticks
from blinkspan.presses.shutter import Readout, slants_to_try
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.regions import Rectangle, Regions
from presses.array_film import LAMP, PANEL, WATCH, measured, series_of, staged

SLANT = Measured(5e-5, 1e-6)


def ticks(reach_px: float) -> Ticks:
    return Ticks(Measured(0.005, 3e-4), 1 / 60, 60.0, SLANT, 40.0, reach_px)


def tried(seen: Ticks | None, camera: CameraProfile) -> list[Measured]:
    series = series_of(staged(count=1))
    regions = Regions(LAMP, PANEL, WATCH)
    return slants_to_try(series, regions, camera, DisplayProfile(None, 60.0, 60.0), seen)


def test_what_moves_over_most_of_the_panel_tells_the_slant():
    [slant] = tried(ticks(1e4), CameraProfile())
    assert slant.value == SLANT.value
    assert slant.u > SLANT.u


@pytest.mark.parametrize(
    ("seen", "camera"),
    [
        (ticks(1.0), CameraProfile()),
        (ticks(1e4), CameraProfile(readout_s=Measured(0.003, 1e-4))),
    ],
)
def test_few_rows_tell_no_slant_and_a_given_readout_needs_none(seen, camera):
    assert tried(seen, camera) == tried(None, camera)


@pytest.mark.parametrize("shutter", [Shutter.DOWN, Shutter.UP])
@pytest.mark.parametrize("given", [True, False])
def test_spans_hold_whichever_way_the_shutter_runs(shutter, given):
    """A camera held upside down shows its film turned: its lowest row was read first."""
    film = staged(count=14)
    film = replace(film, readout_s=0.0035, format=replace(film.format, shutter=shutter))
    told = CameraProfile(None, Measured(film.readout_s, 1e-5) if given else None)
    found = measured(film, camera=told)
    off_s = [
        press.span.value - (there - on)
        for press, on, there in zip(found.presses, film.lamp_on_s, film.responses_s, strict=True)
    ]
    assert abs(np.mean(off_s)) < 4e-4
    assert found.camera.readout_s.value == pytest.approx(film.readout_s, abs=5e-4)
    for press, on in zip(found.presses, film.lamp_on_s, strict=True):
        assert press.lamp_on.value == pytest.approx(on, abs=2e-3)


@pytest.mark.parametrize(
    ("shutter", "until_ms"),
    [(Shutter.DOWN, 1.0), (Shutter.UP, 3.0), (Shutter.RIGHT, 3.5), (Shutter.LEFT, 0.5)],
)
def test_the_readout_runs_the_way_the_film_is_turned(shutter, until_ms):
    picture = PictureFormat(80, 40, 8, True, TransferCurve.LINEAR, shutter=shutter)
    readout = Readout(Measured(0.004, 0.001), "given", picture)
    until = readout.until(Rectangle(65, 5, 10, 10))
    assert 1e3 * until.value == pytest.approx(until_ms)
    assert 1e3 * until.u == pytest.approx(until_ms / 4)


def test_a_sideways_shutter_leaves_the_columns_between_lamp_and_screen_in_doubt():
    picture = PictureFormat(80, 40, 8, True, TransferCurve.LINEAR, shutter=Shutter.RIGHT)
    readout = Readout(Measured(0.004, 0.001), "assumed", picture)
    lamp, watch = Rectangle(0, 30, 8, 8), Rectangle(36, 5, 8, 30)
    # 36 of 80 columns apart, and a watched part of 8 columns read together.
    assert readout.doubt_between(lamp, watch) == pytest.approx(
        np.hypot(0.45 * 0.001, 0.1 * 0.004 / 2 / 3**0.5)
    )
    upright = replace(readout, picture=replace(picture, shutter=Shutter.DOWN))
    assert upright.doubt_between(lamp, watch) == pytest.approx(14 / 40 * 0.001)
