"""The posterior over placements: where it is told, and where its best place lies beyond."""

import numpy as np
import pytest

from blinkspan.onsets.step import mean_and_spread

PLACES = np.linspace(-0.004, 0.004, 201)


def test_a_place_inside_is_told_with_its_spread():
    told = mean_and_spread(PLACES, ((PLACES - 0.001) / 0.0002) ** 2)
    assert told.value == pytest.approx(0.001, abs=1e-6)
    assert told.u == pytest.approx(0.0002, rel=0.01)


def test_a_best_place_beyond_those_tried_is_as_unsure_as_their_range():
    told = mean_and_spread(PLACES, ((PLACES - 0.006) / 0.0002) ** 2)
    assert told.u == pytest.approx(0.004)
