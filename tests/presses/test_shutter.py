"""What the slant of the rows may be before the answers are fitted, and the readout from it."""

import pytest

from blinkspan.onsets.ticks import Ticks
from blinkspan.presses.shutter import slants_to_try
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.regions import Regions
from presses.array_film import LAMP, PANEL, WATCH, series_of, staged

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
