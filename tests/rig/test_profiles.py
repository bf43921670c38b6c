"""What may be held of a camera of which nothing is known."""

import numpy as np
import pytest

from blinkspan.profiles import usual_readout


def test_the_usual_readout_is_that_of_its_stated_kinds_of_camera():
    # Common practice: one in ten exposes all rows at once, of the others the slower the more.
    drawn = np.random.default_rng(4)
    period_s, cameras = 1 / 240, 200_000
    slow_s = period_s * np.sqrt(drawn.uniform(size=cameras))
    readouts_s = np.where(drawn.uniform(size=cameras) < 0.1, 0.0, slow_s)
    usual = usual_readout(period_s)
    assert readouts_s.mean() == pytest.approx(usual.value, rel=0.01)
    assert readouts_s.std() == pytest.approx(usual.u, rel=0.01)
