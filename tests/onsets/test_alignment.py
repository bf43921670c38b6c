"""Alignment of presses' courses: exact, on courses shifted by known times."""

import numpy as np
import pytest

from blinkspan.onsets.alignment import Course, align, fit_at, scan
from blinkspan.onsets.pattern import FEATURES, common_signs

PERIOD = 1 / 240


def course(answer_s: float, strength: float = 1.0, seed: int = 0, noise: float = 0.02) -> Course:
    """Return a course of two bands that rises over 30 ms from ``answer_s`` and stays."""
    rng = np.random.default_rng(seed)
    start = np.arange(140) * PERIOD
    rise = np.clip((start - answer_s) / 0.030, 0, 1) * 40 * strength
    values = rng.normal(0, noise, (start.size, 2, FEATURES))
    values[:, :, 0] += rise[:, None]
    values[:, 1, 1] += 0.5 * rise
    return Course(start, values)


TRUE = 0.25 + np.array([0.0, 0.0031, -0.0064, 0.0122, 0.0017, -0.0101])


def test_presses_slide_onto_each_other_by_their_true_shifts():
    courses = [course(t, seed=k) for k, t in enumerate(TRUE)]
    guesses = list(TRUE + np.array([4, -6, 5, -3, 2, 0]) * PERIOD / 2)
    template, fits = align(courses, guesses, PERIOD)
    found = np.array([f.at_s for f in fits])
    assert template.alike
    assert found - found.mean() == pytest.approx(TRUE - TRUE.mean(), abs=3e-4)
    assert [f.gain for f in fits] == pytest.approx([1.0] * 6, abs=0.02)


def test_answers_of_unlike_strength_are_slid_by_where_they_leave_their_rest():
    strengths = [1.0, 0.6, 1.5, 0.8, 1.2, 0.7]
    courses = [course(t, s, seed=k) for k, (t, s) in enumerate(zip(TRUE, strengths, strict=True))]
    template, fits = align(courses, list(TRUE + 0.004), PERIOD)
    found = np.array([f.at_s for f in fits])
    assert not template.alike
    assert found - found.mean() == pytest.approx(TRUE - TRUE.mean(), abs=3e-3)


def test_the_sliding_scan_is_the_fit_at_each_place():
    courses = [course(t, seed=k) for k, t in enumerate(TRUE)]
    template, fits = align(courses, list(TRUE), PERIOD)
    times = fits[0].at_s + PERIOD * np.arange(-12, 12)
    gains = scan(courses[0], template, times)
    each = [fit_at(courses[0], template, t).gain for t in times]
    assert gains == pytest.approx(each, abs=0.03)
    assert gains[12] == pytest.approx(1.0, abs=0.03)


def test_a_menu_that_opens_and_shuts_is_one_pattern_with_two_signs():
    look = np.random.default_rng(3).normal(0, 1, 50)
    rows = np.stack([look, -look, 1.2 * look, -0.9 * look, look])
    assert common_signs(rows) == [1, -1, 1, -1, 1]


def test_pictures_that_never_look_alike_are_not_turned():
    rng = np.random.default_rng(9)
    assert common_signs(rng.standard_normal((15, 500))) == [1] * 15
    toggled = np.outer([1, -1] * 4, rng.standard_normal(500)) + rng.standard_normal((8, 500))
    assert common_signs(toggled) in ([1, -1] * 4, [-1, 1] * 4)  # half of them: either way round
