"""settle: exact cases, courses made of a known answer."""

import numpy as np

from blinkspan.onsets.alignment import Course, fit_at, mean_course
from blinkspan.onsets.pattern import FEATURES
from blinkspan.onsets.settling import Settled, settle

PERIOD, GAME_FRAME = 1 / 240, 1 / 60
START = np.arange(240) * PERIOD


def course(at_s: float, rng: np.random.Generator, strength: float = 20.0) -> Course:
    """Return a step at a time, growing on with every game frame, in one band."""
    frames = np.clip(np.floor((START - at_s) / GAME_FRAME) + 1, 0, 6)
    values = rng.normal(0, 1, (START.size, 1, FEATURES))
    values[:, 0, 0] += strength * frames
    return Course(START, values)


def settled(
    at_s: np.ndarray,
    aligned_s: np.ndarray,
    courses: list[Course],
    may_move: list[bool] | None = None,
) -> list[Settled]:
    template = mean_course(courses, at_s, PERIOD)
    fits = [fit_at(c, template, float(t)) for c, t in zip(courses, aligned_s, strict=True)]
    _, places = settle(courses, fits, [0.0] * len(courses), template, GAME_FRAME, PERIOD, may_move)
    return places


def one_early() -> tuple[np.ndarray, np.ndarray, list[Course]]:
    """Return when seven answers begin, where they are aligned (one a frame early), and courses."""
    rng = np.random.default_rng(1)
    at = 0.5 + rng.uniform(-0.01, 0.01, 7)
    aligned = at.copy()
    aligned[3] -= GAME_FRAME
    return at, aligned, [course(float(t), rng) for t in at]


def test_an_answer_aligned_a_game_frame_early_settles_where_it_is():
    at, aligned, courses = one_early()
    places = settled(at, aligned, courses)
    assert np.allclose([p.fit.at_s for p in places], at, atol=PERIOD / 2)
    assert not any(p.contested for p in places)


def test_what_fits_nowhere_better_than_elsewhere_is_contested():
    rng = np.random.default_rng(2)
    at = 0.5 + rng.uniform(-0.01, 0.01, 7)
    courses = [course(float(t), rng) for t in at]
    courses[3] = Course(START, rng.normal(0, 60, courses[3].values.shape))
    places = settled(at, at, courses)
    assert [p.contested for p in places] == [k == 3 for k in range(7)]


def test_an_answer_aligned_off_the_end_of_the_film_stays_there():
    rng = np.random.default_rng(3)
    at = 0.5 + rng.uniform(-0.01, 0.01, 7)
    courses = [course(float(t), rng) for t in at]
    aligned = at.copy()
    aligned[3] = START[-1] + 1.0
    places = settled(at, aligned, courses)
    assert places[3].fit.at_s == aligned[3]
    assert places[3].fit.strength == 0.0


def test_a_press_whose_place_is_known_otherwise_stays_there():
    at, aligned, courses = one_early()
    places = settled(at, aligned, courses, may_move=[k != 3 for k in range(7)])
    assert places[3].fit.at_s == aligned[3]
    assert places[3].contested  # its course fits better elsewhere all the same
