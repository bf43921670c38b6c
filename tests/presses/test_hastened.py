"""Films read at the pace of their stamp, and films that truly are that slow."""

from dataclasses import replace
from fractions import Fraction

import pytest

from blinkspan.footage.frames import Clock
from blinkspan.presses.hastened import times_hastened
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.traces.regions import Regions
from presses.array_film import LAMP, PANEL, WATCH, series_of, staged

REGIONS = Regions(LAMP, PANEL, WATCH)


@pytest.mark.parametrize(("rate_hz", "times"), [(240, 8), (120, 4)])
def test_the_factor_is_told_by_the_answers(rate_hz, times):
    series = series_of(staged(count=8, rate_hz=rate_hz))
    slow = Clock(series.clock.start_s * times, Fraction(30), "container")
    told = times_hastened(
        replace(series, clock=slow), REGIONS, CameraProfile(), DisplayProfile(refresh_hz=60.0)
    )
    assert told == times


def test_a_film_of_thirty_frames_a_second_is_no_slow_motion():
    series = series_of(staged(count=8, rate_hz=30, exposure_s=0.02, lamp_held_s=0.2))
    assert times_hastened(series, REGIONS, CameraProfile(), DisplayProfile()) is None
