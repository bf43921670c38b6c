"""A screen whose rows change all at once: known footage made of arrays.

A grabbed screen, a panel in global refresh and a projector that shows whole frames
have no scan; only the camera's own shutter, if it rolls, makes rows differ.
"""

from dataclasses import replace

import numpy as np
import pytest

from blinkspan.presses.press import Verdict
from blinkspan.profiles import CameraProfile
from blinkspan.quantities import Measured
from presses.array_film import HEIGHT, measured, staged

FRAME_S = 1 / 240


def spans(found) -> tuple[np.ndarray, np.ndarray]:
    return tuple(np.array([getattr(p.span, of) for p in found.presses]) for of in ("value", "u"))


def test_a_rolling_shutter_before_a_global_refresh_is_read_from_the_slant():
    film = staged(refresh_hz=60000 / 1001, scanned=False, readout_s=0.0030)
    found = measured(film, camera=CameraProfile())
    assert found.camera.readout_source == "from the take"
    assert found.camera.readout_s.value == pytest.approx(0.0030, abs=2 * found.camera.readout_s.u)
    assert found.step.slant_s_per_px.value == pytest.approx(
        -0.0030 / HEIGHT, abs=2 * found.step.slant_s_per_px.u
    )
    assert found.step.slant_s_per_px.u < 1e-5
    got, u = spans(found)
    off = got - (np.array(film.responses_s) - film.lamp_on_s)
    assert np.mean(np.abs(off) < 2 * u) >= 0.9


@pytest.mark.parametrize("jitter_s", [0.0, 0.006])
def test_pictures_grabbed_without_an_exposure_are_known_to_the_step_between_them(jitter_s):
    rng = np.random.default_rng(3)
    film = staged(count=12, refresh_hz=60000 / 1001, scanned=False, exposure_s=1e-5, noise=0.2)
    moved = tuple(t + rng.uniform(0, jitter_s) for t in film.responses_s)
    film = replace(film, responses_s=moved)
    found = measured(film, camera=CameraProfile(Measured(1e-5, 1e-6), Measured(0.0, 1e-6)))
    got, u = spans(found)
    off = got - (np.array(moved) - film.lamp_on_s)
    assert all(p.verdict is Verdict.ACCEPTED for p in found.presses)
    # Each instant lies anywhere between two pictures: sd T / sqrt(12) (JCGM 100, 4.3.7).
    lamp_u_s = [p.budget.terms[0].u_s for p in found.presses]
    assert lamp_u_s == pytest.approx([FRAME_S / np.sqrt(12)] * len(lamp_u_s), rel=0.05)
    assert np.abs(off).max() < FRAME_S
    assert np.mean(np.abs(off) < 2 * u) >= 0.9
    if jitter_s:  # no clock ticks behind such answers, and none is made up
        assert found.step.grid is None
        assert u == pytest.approx(FRAME_S / np.sqrt(6), rel=0.1)
    else:  # on a grid, which all answers together tell better than each
        assert found.step.grid is not None
