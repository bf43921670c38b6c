"""Answers held against their own look: one that had begun a game frame before it seems to."""

from types import SimpleNamespace

import numpy as np
import pytest

from blinkspan.onsets.look import change_since, look_before
from blinkspan.onsets.own_look import had_begun
from blinkspan.traces.light import FULL_SCALE

PERIOD_S, HOLD_S, HOLD = 1 / 240, 1 / 60, 4
BEGIN = 60  # the frame that first shows the answer
SEES_S = 0.5 * PERIOD_S  # of exposure


def film_of(steps: list[int], noise: float = 0.002) -> np.ndarray:
    """Return a bright block that steps sideways by so many cells at each game frame."""
    rng = np.random.default_rng(3)
    film = rng.normal(0.2, noise, (100, 24, 60))
    for k in range(film.shape[0]):
        moved = sum(steps[: max(0, (k - BEGIN) // HOLD + 1)])
        film[k, 8:16, 10 + moved : 18 + moved] += 0.4
    return (film * FULL_SCALE).astype(np.uint16)


def told(film: np.ndarray, begin: int, noise: float = 0.002) -> bool:
    """Tell of the answer as if it began with a frame, held against the look it has a bit later."""
    idle = SimpleNamespace(sd=np.full(film.shape[1:], noise, np.float32))
    before = look_before(film, 40, PERIOD_S)
    look = change_since(film, begin + 1, begin + 2, before)[0] / idle.sd
    look[np.abs(look) < 20] = 0
    start_s = np.arange(film.shape[0]) * PERIOD_S
    last_s = begin * PERIOD_S - SEES_S + HOLD_S * np.arange(-1, 2)
    return had_begun(film, start_s, before, idle, look, last_s)


@pytest.mark.parametrize("steps", [[2] * 8, [1, 2, 3, 4], [6]])
def test_what_moves_has_not_begun_before_its_first_game_frame(steps):
    assert not told(film_of(steps), BEGIN)


@pytest.mark.parametrize("steps", [[2] * 8, [1, 1, 1, 1]])
def test_what_moves_is_told_where_its_second_game_frame_is_taken_for_the_first(steps):
    assert told(film_of(steps), BEGIN + HOLD)


def test_the_ends_of_a_film_are_no_change():
    film = film_of([2] * 8)
    assert not told(film[: BEGIN + 3], BEGIN)
