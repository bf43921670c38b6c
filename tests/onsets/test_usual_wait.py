"""The wait that most presses have in common, under changes that come at any time."""

import numpy as np

from blinkspan.onsets.idle import Moments, learn_idle
from blinkspan.onsets.look import look_before
from blinkspan.onsets.usual_wait import usual_wait

PERIOD = 1 / 240
PRESSES = [200 * k + 100 for k in range(8)]
WAIT = 24


def film_of(wait: int | None) -> np.ndarray:
    rng = np.random.default_rng(1)
    film = rng.normal(20000, 60, (1750, 24, 24))
    for first in range(0, 1750, 70):  # what the scene does by itself
        y, x = rng.integers(0, 18, 2)
        film[first:, y : y + 6, x : x + 6] += rng.uniform(-4000, 4000)
    for press in PRESSES if wait is not None else []:
        film[press + wait : press + wait + 50, 8:16, 8:16] += 6000
    return np.clip(film, 0, 65535).astype(np.uint16)


def told(film: np.ndarray, presses=tuple(PRESSES)) -> int | None:
    idle = learn_idle(film, Moments([p + 90 for p in PRESSES], 60), PERIOD)
    looks = [look_before(film, frame, PERIOD) for frame in presses]
    return usual_wait(film, presses, looks, idle, 60)


def test_the_wait_that_presses_have_in_common():
    assert told(film_of(WAIT)) in (WAIT, WAIT + 1)


def test_no_wait_where_nothing_answers():
    assert told(film_of(None)) is None


def test_too_few_presses_have_nothing_in_common():
    assert told(film_of(WAIT), tuple(PRESSES[:4])) is None
