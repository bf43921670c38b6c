"""Answers found some game frames late: the picture before them is not at rest."""

import numpy as np
import pytest

from blinkspan.onsets.step import Step
from blinkspan.presses.begun_before import begun_before
from blinkspan.presses.finding import find_answers
from blinkspan.presses.searching import searches
from blinkspan.quantities import Measured
from presses.array_film import WATCH, series_of
from presses.test_gathering_speed import leap

_GAME_S = 1 / 60


def begun(late: np.ndarray) -> list[bool]:
    """Tell which answers had begun, each put so many game frames late."""
    film = leap(rises_px=(4.0, 6.0, *[16.0] * 6))
    series = series_of(film)
    start_s, period_s = series.clock.start_s, series.clock.period_s
    lamps = np.searchsorted(start_s, film.lamp_on_s).tolist()
    todo = searches(start_s, lamps, period_s)
    found = find_answers(series, todo)
    known = Measured(film.exposure_s, 1e-4)
    step = Step(
        row_px=WATCH.middle_row_px,
        begins=tuple(
            Measured(there + by * _GAME_S, 1e-4)
            for there, by in zip(film.responses_s, late.tolist(), strict=True)
        ),
        shared_u_s=1e-4,
        grid=None,
        response_s=0.0,
        slant_s_per_px=Measured(0.96 / film.refresh_hz / 50.0, 1e-6),
        exposure_s=known,
        wanted_exposure_s=known,
        direction=np.ones((1, 5)),
        strength=np.ones(1),
    )
    return begun_before(series, todo, found, step, _GAME_S).tolist()


@pytest.mark.parametrize(("late", "told"), [(0, False), (1, True), (2, True)])
def test_answers_found_late_had_begun(late, told):
    assert set(begun(np.full(len(leap().responses_s), late))) == {told}


def test_presses_found_late_had_begun_though_most_had_not():
    late = np.where(np.arange(len(leap().responses_s)) % 3 == 1, 2, 0)
    assert begun(late) == (late > 0).tolist()


def test_a_film_that_begins_too_late_to_tell_is_not_doubted():
    film = leap()
    series = series_of(film)
    start_s, period_s = series.clock.start_s, series.clock.period_s
    todo = searches(start_s, np.searchsorted(start_s, film.lamp_on_s).tolist(), period_s)
    found = find_answers(series, todo)
    known = Measured(film.exposure_s, 1e-4)
    before = Step(
        WATCH.middle_row_px,
        tuple(Measured(0.001, 1e-4) for _ in film.responses_s),
        1e-4,
        None,
        0.0,
        Measured(0.0, 1e-6),
        known,
        known,
        np.ones((1, 5)),
        np.ones(1),
    )
    assert not begun_before(series, todo, found, before, _GAME_S).any()
