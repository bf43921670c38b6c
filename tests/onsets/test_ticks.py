"""The panel's ticks from all that moves, and answers put on them: exact, without a film."""

import numpy as np
import pytest

from blinkspan.onsets import ticks
from blinkspan.onsets.alignment import Course
from blinkspan.onsets.pattern import FEATURES
from blinkspan.onsets.softened import Bands
from blinkspan.onsets.ticks import Ticks, concentration, first_to_show, place_on_ticks, ticks_of
from blinkspan.onsets.whole_grid import WholeGrid
from blinkspan.quantities import Measured
from onsets.test_whole_grid import PANEL_PX, PERIOD, READOUT, changes_of, fitted

TICK_S = 1 / 60
SCAN_S = 0.96 * TICK_S  # CTA-861: 1080 of 1125 lines carry the picture
EXPOSURE = Measured(0.003, 2e-4)
BELOW = Bands(np.array([-100.0, 0.0, 100.0]), np.full(3, 10.0))
TICKS = Ticks(Measured(0.005, 3e-4), TICK_S, 60.0, Measured(3e-5, 1e-6), 500.0, 900.0)


def test_the_ticks_of_a_fast_panel():
    changes = changes_of(0.0042 + np.arange(590) * TICK_S, SCAN_S)
    grid = fitted(changes)
    assert isinstance(grid, WholeGrid)
    # The film's exposure is a whole frame.
    found = ticks_of(changes, grid, Measured(PERIOD, 0.0), PERIOD)
    zero = found.zero_at(500.0)
    true = 0.0042 + 500.0 * (SCAN_S / PANEL_PX - READOUT)
    off = (zero.value - true + TICK_S / 2) % TICK_S - TICK_S / 2
    assert abs(off) < min(2 * zero.u, 1e-3)


def course_of(begin_s: float, seed: int, growth: tuple[float, ...] = (10, 30, 60)) -> Course:
    """Return an answer that grows with every tick from the one it begins on."""
    start = np.arange(begin_s - 0.3, begin_s + 0.3, PERIOD) + seed * 1e-3
    values = np.zeros((start.size, 3, FEATURES))
    for band, row in enumerate(BELOW.row_px):
        for k, height in enumerate(np.diff((0.0, *growth))):
            seen = start + EXPOSURE.value - (begin_s + k * TICK_S + 3e-5 * row)
            values[:, band, 2] += height * np.clip(seen / EXPOSURE.value, 0, 1)
    values += np.random.default_rng(seed).normal(0, 0.3, values.shape)
    return Course(start, values)


NUMBERS = np.array([30, 80, 125, 171, 226, 270])


def placed(astray_s: float = 0.0, first_growth: tuple[float, ...] = (10, 30, 60)):
    begins = 0.005 + NUMBERS * TICK_S
    courses = [course_of(float(t), k) for k, t in enumerate(begins)]
    courses[0] = course_of(float(begins[0]), 0, first_growth)
    aligned = begins + 0.021 + np.random.default_rng(2).normal(0, 1e-3, begins.size)
    aligned[0] += astray_s
    return place_on_ticks(courses, aligned, TICKS, 500.0, BELOW, EXPOSURE)


def test_answers_lie_on_the_first_tick_that_shows_them():
    found = placed()
    assert found is not None
    assert found.numbers.tolist() == NUMBERS.tolist()
    assert [begin.value for begin in found.begins] == pytest.approx(0.005 + NUMBERS * TICK_S)
    assert max(begin.u for begin in found.begins) < 1e-4


def test_an_answer_aligned_a_tick_away_is_put_right_and_doubted():
    found = placed(astray_s=TICK_S)
    assert found is not None
    assert found.numbers.tolist() == NUMBERS.tolist()
    assert found.begins[0].u >= TICK_S / 2
    assert max(begin.u for begin in found.begins[1:]) < 1e-4


def test_an_answer_unlike_the_others_and_not_much_more_unlike_a_tick_away_is_doubted():
    # The others grow to 10 and 30, a tick later to 30 and 60.
    found = placed(first_growth=(18, 43, 60))
    assert found is not None
    assert found.begins[0].u >= TICK_S / 2
    assert max(begin.u for begin in found.begins[1:]) < 1e-4


def placed_over_film(growths: list[tuple[float, ...]], earlier: int):
    """Return the places of answers over a film whose own changes begin so many ticks before."""
    begins = 0.005 + NUMBERS * TICK_S
    each = zip(begins - earlier * TICK_S, growths, strict=True)
    courses = [course_of(float(t), k, growth) for k, (t, growth) in enumerate(each)]
    return place_on_ticks(courses, begins + 0.021, TICKS, 500.0, BELOW, EXPOSURE)


@pytest.mark.parametrize("stays", [1, 2, 3])
def test_a_picture_of_a_film_before_all_answers_is_not_taken_for_their_first(stays):
    # Its pictures stay for some refreshes, so that the answer's first tick is not the next one.
    film = (2,) * (8 - stays) + (9,) * stays + (69, 71, 73)
    assert placed_over_film([film] * 6, earlier=8) is None


def test_half_an_answer_a_tick_before_it_is_doubted():
    # A picture of the film comes and goes before the others; before one it stays, and looks like
    # more than half of an answer.
    before = (35, -35, 36, -36, 0)
    growths = [(0, 0, 60, 104, 104), *((height, 0, 100, 102, 104) for height in before)]
    found = placed_over_film(growths, earlier=2)
    assert found is not None
    assert found.begins[0].u >= TICK_S / 2
    assert found.numbers[1:].tolist() == NUMBERS[1:].tolist()
    assert max(begin.u for begin in found.begins[1:]) < 1e-4


def test_answers_at_random_lie_on_no_ticks():
    at = np.sort(np.random.default_rng(4).uniform(0.5, 5.0, 6))
    courses = [course_of(float(t), k) for k, t in enumerate(at)]
    assert place_on_ticks(courses, at, TICKS, 500.0, BELOW, EXPOSURE) is None


def turns(begins_s: np.ndarray, seed: int) -> tuple[list[Course], np.ndarray]:
    """Return views that turn, each read by its own measure, and where they were aligned."""
    rng = np.random.default_rng(seed)
    gathering = np.array([5, 15, 30, 50, 75, 100, 130])
    measures = rng.normal(1.0, 0.1, begins_s.size)
    courses = [
        course_of(float(t), k, tuple(m * gathering))
        for k, (t, m) in enumerate(zip(begins_s, measures, strict=True))
    ]
    return courses, begins_s + 0.021 + rng.uniform(-0.5, 0.5, begins_s.size) * TICK_S


@pytest.mark.parametrize("seed", range(5))
def test_views_that_slide_are_told_by_where_they_are_at_each_tick(seed):
    numbers = np.sort(np.random.default_rng(seed).choice(np.arange(30, 300), 12, replace=False))
    courses, aligned = turns(0.005 + numbers * TICK_S, seed)
    assert concentration(aligned, TICK_S) < 0.75
    assert place_on_ticks(courses, aligned, TICKS, 500.0, BELOW, EXPOSURE) is None
    found = place_on_ticks(courses, aligned, TICKS, 500.0, BELOW, EXPOSURE, sliding=True)
    assert found is not None
    sure = np.array([begin.u for begin in found.begins]) < 1e-4
    assert sure.sum() >= 9
    assert found.numbers[sure].tolist() == numbers[sure].tolist()


@pytest.mark.parametrize("seed", range(5))
def test_views_that_slide_whenever_a_picture_is_ready_lie_on_no_ticks(seed):
    at = np.sort(np.random.default_rng(seed).uniform(0.5, 5.0, 12))
    courses, aligned = turns(at, seed)
    placed = place_on_ticks(courses, aligned, TICKS, 500.0, BELOW, EXPOSURE, sliding=True)
    assert placed is None


def test_a_first_tick_at_the_end_of_what_is_looked_at_is_refused(monkeypatch):
    # Beyond it there is no tick with which the first one's change could be compared.
    monkeypatch.setattr(ticks, "first_to_show", lambda course: course.shape[0] - 1)
    assert placed() is None


def test_four_answers_agree_by_chance():
    begins = 0.005 + NUMBERS[:4] * TICK_S
    courses = [course_of(float(t), k) for k, t in enumerate(begins)]
    assert place_on_ticks(courses, begins + 0.021, TICKS, 500.0, BELOW, EXPOSURE) is None


def test_concentration_of_known_phases():
    # Mardia and Jupp (2000), 2.3: 1 where all agree, 0 for phases evenly round the circle.
    assert concentration(np.array([0.1, 1.1, 7.1]), 1.0) == pytest.approx(1.0)
    assert concentration(np.arange(4) / 4, 1.0) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("onset", [6, 9, 11])
def test_an_answer_is_told_from_a_drift_by_what_departs_from_it(onset):
    """A view that drifts steadily strays ever farther; its first small turn shows at once."""
    ticks = np.arange(19)
    turned = np.cumsum([0, 9, 20, 30, 40, 40, 40, 40, 40, 40, 40, 40, 40, 40])[ticks - onset + 1]
    course = np.zeros((19, 2, 3))
    course[:, 0, 0] = 3.0 * ticks
    course[:, 1, 1] = np.where(ticks < onset, 0, turned)
    course += np.random.default_rng(4).normal(0, 0.3, course.shape)
    assert first_to_show(course - course[:4].mean(axis=0)) == onset
