"""The joint fit on made-up steps: exposure against panel, and what repeats itself."""

from dataclasses import replace

import numpy as np
import pytest

from blinkspan.onsets.alignment import Course
from blinkspan.onsets.joint import Joint, Known
from blinkspan.onsets.pattern import FEATURES
from blinkspan.onsets.softened import Bands, gathered_in_band
from blinkspan.quantities import Measured

PERIOD_S, TICK_S, PRESSES = 1 / 240, 1 / 60, 8
BANDS = Bands(np.linspace(-48.0, 48.0, 8), np.full(8, 3.5))
SLANT_S_PER_PX = 1.37e-4
HEIGHT = 40.0  # idle standard deviations
IN_STEP = np.zeros(PRESSES)  # a panel of 60 Hz before a camera of 240: always the same place
ANYWHERE = np.linspace(0.0, 0.875, PRESSES) * PERIOD_S


def joint(
    exposure_s: float, response_s: float, later_s: np.ndarray, *, seed: int = 1, misread: float
) -> Joint:
    """Return the problem of steps that begin so much later than a third of a frame.

    ``misread`` is by how much of a step a band's partial frames are misread, alike every time.
    """
    rng = np.random.default_rng(seed)
    wrong = rng.normal(0.0, misread, BANDS.row_px.size)
    start_s = np.arange(-20, 20) * PERIOD_S
    courses = []
    begins_s = 0.8 * np.arange(later_s.size) + PERIOD_S / 3 + later_s
    for k, begin in enumerate(begins_s):
        after = start_s[:, None] + 0.8 * k - begin - SLANT_S_PER_PX * BANDS.row_px
        share = gathered_in_band(after, SLANT_S_PER_PX * BANDS.spread_px, exposure_s, response_s)
        share = share + wrong * 4 * share * (1 - share)
        values = np.zeros((start_s.size, BANDS.row_px.size, FEATURES))
        values[..., 0] = HEIGHT * share + rng.normal(0.0, 1.0, share.shape)
        courses.append(Course(start_s + 0.8 * k, values))
    direction = np.zeros((BANDS.row_px.size, FEATURES))
    direction[:, 0] = HEIGHT
    known = Known(
        PERIOD_S,
        Measured(0.4 * PERIOD_S, 0.15 * PERIOD_S),
        Measured(SLANT_S_PER_PX, 0.02 * SLANT_S_PER_PX),
        TICK_S,
        alike=True,
    )
    return Joint(courses, begins_s, direction, BANDS, known)


def solved(problem: Joint):
    basis = np.column_stack([np.ones(PRESSES), np.arange(PRESSES)])
    apart_s = (problem.guess[-1] - problem.guess[0]) / (PRESSES - 1)
    shared = np.array([5e-4, SLANT_S_PER_PX, problem.known.exposure_s.value])
    return problem.solve_firmly(basis, np.array([problem.guess[0], apart_s]), shared)


def u_of(solution) -> float:
    """Return the doubt that all begins share, encoding and a slow panel's course included."""
    parts = [solution.spread.mean() ** 0.5, 0.02 * PERIOD_S, 0.1 * solution.response_s]
    return float(np.linalg.norm(parts))


@pytest.mark.parametrize("exposure_frames", [0.45, 0.6, 0.8])
def test_a_panel_that_answers_at_once_is_not_taken_for_a_slow_one(exposure_frames):
    """Misread parts of the step look like a short exposure and a panel of half a millisecond."""
    exposures, begins = [], []
    for seed in range(30):
        problem = joint(exposure_frames * PERIOD_S, 0.0, IN_STEP, seed=seed, misread=0.05)
        solution = solved(problem)
        exposure = solution.exposure_s
        exposures.append((exposure.value - exposure_frames * PERIOD_S) / exposure.u)
        begins.append((solution.begins_s - problem.guess).mean() / u_of(solution))
    # One standard doubt is what they stray by, 30 times each, give or take a third of it.
    assert np.sqrt(np.mean(np.square(exposures))) < 1.33
    assert np.sqrt(np.mean(np.square(begins))) < 1.33


@pytest.mark.parametrize("response_s", [0.002, 0.004])
def test_a_slow_panel_stays_slow(response_s):
    problem = joint(0.6 * PERIOD_S, response_s, ANYWHERE, misread=0.01)
    solution = solved(problem)
    assert solution.response_s == pytest.approx(response_s, rel=0.15)
    assert abs((solution.begins_s - problem.guess).mean()) < 2 * u_of(solution)


def test_what_all_presses_misread_alike_is_doubted_as_if_seen_once():
    often = solved(joint(0.6 * PERIOD_S, 0.0, IN_STEP, misread=0.0))
    spread = solved(joint(0.6 * PERIOD_S, 0.0, ANYWHERE, misread=0.0))
    assert often.spread[0, 0] > 1.5 * spread.spread[0, 0]


def test_samples_that_stray_leave_the_exposure_to_the_lamp():
    """A lively scene makes a poor fit: it tells the exposure no better than it fits."""
    problem = joint(0.6 * PERIOD_S, 0.0, IN_STEP, misread=0.0)
    problem.data = problem.data + np.random.default_rng(3).normal(0.0, 4.0, problem.data.size)
    loose = problem.solve(np.eye(PRESSES), problem.guess)
    assert loose.misfit > 3
    lamps = problem.known.exposure_s
    solution = solved(problem)
    firm = solution.exposure_s
    assert firm.u > 0.8 * lamps.u
    assert abs(firm.value - lamps.value) < 1.5 * lamps.u
    # What they would have it be is still told: a panel's step wants what the lamp does.
    assert abs(solution.wanted_exposure_s.value - lamps.value) > 1.9 * lamps.u


def test_one_press_between_two_exposures_is_still_told_something():
    """All rows at once and a short exposure: nothing holds its begin, or tells panels apart."""
    bands = Bands(np.zeros(1), np.zeros(1))
    start_s = np.arange(-20, 20) * PERIOD_S
    values = np.zeros((start_s.size, 1, FEATURES))
    values[:, 0, 0] = HEIGHT * (start_s > 0.2 * PERIOD_S)
    direction = np.zeros((1, FEATURES))
    direction[0, 0] = HEIGHT
    known = Known(PERIOD_S, Measured(0.1 * PERIOD_S, 1e-5), Measured(0.0, 1e-9), TICK_S, alike=True)
    guess = np.array([PERIOD_S / 2])
    problem = Joint([Course(start_s, values)], guess, direction, bands, known)
    slow = replace(problem.solve(np.eye(1), guess), response_s=0.001)
    assert slow.log_room == np.inf
    solution = problem.or_at_once(np.eye(1), guess, slow)
    assert np.isfinite(solution.begins_s).all()
    assert 0 < solution.begins_s[0] < 1.2 * PERIOD_S
    assert np.isfinite(solution.exposure_s.u)
