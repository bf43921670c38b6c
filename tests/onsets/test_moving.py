"""How far a picture has slid: exact, a texture moved by known parts of a cell."""

import numpy as np
import pytest
from scipy import ndimage

from blinkspan.onsets.alignment import Course, Template
from blinkspan.onsets.idle import Moments, learn_idle
from blinkspan.onsets.look import look_before
from blinkspan.onsets.moving import (
    Moving,
    as_one,
    learn_moving,
    moving_course,
    slid_cells,
    under_way,
)
from blinkspan.onsets.pattern import FEATURES
from blinkspan.traces.light import FULL_SCALE

PERIOD = 1 / 240
BANDS = ((0, 12), (12, 24), (24, 36), (36, 48))
START_S = np.arange(200) * PERIOD
SETS_OUT = 150


@pytest.fixture(scope="module")
def texture():
    rng = np.random.default_rng(3)
    return 0.3 + 0.05 * ndimage.gaussian_filter(rng.standard_normal((72, 160)), 2.0) / 0.14


def film_of(texture, slides, gains=None):
    rng = np.random.default_rng(4)
    frames = []
    for k, (down, across) in enumerate(slides):
        picture = ndimage.shift(texture, (down, across), order=5, mode="grid-wrap")[12:60, 30:114]
        gain = 1.0 if gains is None else gains[k]
        frames.append(gain * picture + 0.002 * rng.standard_normal(picture.shape))
    return np.clip(np.stack(frames) * FULL_SCALE, 0, FULL_SCALE).astype(np.uint16)


def slid(film):
    idle = learn_idle(film, Moments([60, 90, 110], 24), PERIOD)
    moving = learn_moving(film, idle, BANDS)
    assert moving is not None
    look = look_before(film, SETS_OUT, PERIOD)
    course = moving_course(film, START_S, (100, 200), look, moving)
    return course, course.values[..., 2:4] * moving.idle_sd


@pytest.mark.parametrize("cells", [(0.0, 0.2), (0.4, 0.0), (-0.3, 0.6)])
def test_a_slide_reads_as_far_as_it_is(texture, cells):
    slides = [(0.0, 0.0)] * SETS_OUT + [cells] * 50
    _, cells_read = slid(film_of(texture, slides))
    middle = np.median(cells_read[60:], axis=(0, 1))
    assert middle == pytest.approx([cells[1], cells[0]], abs=0.06)


def test_light_that_rises_as_a_whole_is_no_slide(texture):
    still = [(0.0, 0.0)] * 200
    _, cells_read = slid(film_of(texture, still, gains=[1.0] * SETS_OUT + [1.3] * 50))
    assert np.abs(cells_read[60:]).mean() < 0.03


def test_a_slide_is_under_way_a_quarter_of_its_way_and_rest_never(texture):
    slides = [(0.0, 0.0)] * SETS_OUT + [(0.0, 0.02 * k) for k in range(50)]
    course, _ = slid(film_of(texture, slides))
    at = under_way(course, float(START_S[130]), float(START_S[-1]))
    assert at is not None
    assert 11 * PERIOD < at - START_S[SETS_OUT] < 15 * PERIOD
    rest, _ = slid(film_of(texture, [(0.0, 0.0)] * 200))
    assert under_way(rest, float(START_S[130]), float(START_S[-1])) is None


def test_bands_that_read_slides_differently_are_read_as_one():
    moving = Moving(BANDS, np.full((4, 2), 0.01), 24)
    values = np.zeros((3, 4, FEATURES))
    values[1, :, 2] = np.array([0.8, 1.2, 1.1, 0.9]) / 0.01
    values[2, :, 2] = 4.0 / 0.01  # farther than slides are read well
    one = as_one(Course(START_S[:3], values), moving)
    assert one.values[:, 0, 2] == pytest.approx([0.0, 1.0 / 0.01, 1.5 / 0.01])
    assert np.count_nonzero(one.values) == 2


def test_how_far_a_mean_course_has_slid_in_cells():
    moving = Moving(BANDS, np.full((4, 2), 0.01), 24)
    values = np.zeros((2, 4, FEATURES))
    values[1, :, 2], values[1, :, 3] = 0.3 / 0.01, 0.4 / 0.01
    mean = Template(np.array([0.0, 0.1]), values)
    assert slid_cells(mean, moving, 0.1) == pytest.approx(0.5)
    assert slid_cells(mean, moving, 0.05) == pytest.approx(0.25)


def test_bands_of_a_row_tell_nothing(texture):
    film = film_of(texture, [(0.0, 0.0)] * 200)
    idle = learn_idle(film, Moments([60, 90, 110], 24), PERIOD)
    assert learn_moving(film, idle, ((0, 1), (1, 2))) is None
