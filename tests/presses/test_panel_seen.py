"""What a moving picture tells of its panel and game: exact, without a film."""

import numpy as np
import pytest

from blinkspan.onsets.row_changes import RowChanges
from blinkspan.presses.panel_seen import display_seen
from blinkspan.profiles import DisplayProfile
from onsets.test_whole_grid import PANEL_PX, PERIOD, changes_of

_UNTOLD = DisplayProfile()
_SCAN_S = 0.96 / 60  # CTA-861: 1080 of 1125 lines carry the picture


def seen(changes: RowChanges, display: DisplayProfile = _UNTOLD) -> DisplayProfile:
    return display_seen(changes, PERIOD, PANEL_PX, display)[0]


# CTA-861 has 60 Hz and 60000 / 1001 Hz, a thousandth apart; a camera's clock is closer than that.
@pytest.mark.parametrize("refresh_hz", [60.0, 60000 / 1001])
def test_a_scene_that_moves_at_every_refresh_tells_panel_and_game(refresh_hz):
    display = seen(changes_of(0.0042 + np.arange(590) / refresh_hz, _SCAN_S))
    assert display.refresh_hz == pytest.approx(refresh_hz, rel=1e-9)
    assert display.game_rate_hz == display.refresh_hz


def test_a_scene_that_moves_in_larger_steps_tells_the_panel_alone():
    display = seen(changes_of(0.0042 + np.arange(295) / 30, _SCAN_S))
    assert display == DisplayProfile(refresh_hz=60.0)


def test_what_was_told_stays():
    told = DisplayProfile(refresh_hz=60.0, game_rate_hz=30.0)
    assert seen(changes_of(0.0042 + np.arange(590) / 60, _SCAN_S), told) == told


def test_a_rate_half_way_between_two_known_ones_tells_nothing():
    display = seen(changes_of(0.0042 + np.arange(590) / 59.97, _SCAN_S))
    assert display == _UNTOLD


def test_moments_at_random_tell_nothing():
    at = np.sort(np.random.default_rng(3).uniform(0.0, 9.9, 590))
    assert seen(changes_of(at, _SCAN_S)) == _UNTOLD
