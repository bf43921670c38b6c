"""Slow motion stamped for playback is suspected: known footage, read at an eighth of its rate."""

from dataclasses import replace
from fractions import Fraction

import pytest

from blinkspan.footage.frames import Clock
from blinkspan.presses.measuring import measure_presses
from blinkspan.presses.press import Reason, Verdict
from blinkspan.presses.slow_motion import slow_motion_note
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.traces.regions import Regions
from presses.array_film import LAMP, PANEL, WATCH, series_of, staged


def test_a_take_stamped_an_eighth_of_its_rate_betrays_itself():
    film = staged(count=10)
    series = series_of(film)
    slow = Clock(series.clock.start_s * 8, Fraction(30), "container")
    found = measure_presses(
        replace(series, clock=slow),
        Regions(LAMP, PANEL, WATCH),
        CameraProfile(),
        DisplayProfile(),
    )
    # A 60 Hz panel filmed at 240 and shown at 30 frames a second ticks at 7.5 Hz.
    spans = [press for press in found.presses if press.span is not None]
    assert len(spans) >= 8
    assert {(press.verdict, press.reason) for press in spans} == {
        (Verdict.DOUBTFUL, Reason.SLOW_MOTION)
    }
    assert any("7.5" in note and "--capture-rate 240" in note for note in found.notes)


def test_a_thumb_that_holds_for_seconds_is_told():
    assert "--capture-rate" in slow_motion_note(240.0, [2.4, 2.8, 3.1], None)


@pytest.mark.parametrize("rate_hz", [120.0, 240.0, 960.0])
def test_a_plain_take_raises_no_suspicion(rate_hz):
    assert slow_motion_note(rate_hz, [0.1, 0.14, 0.12], None) is None
