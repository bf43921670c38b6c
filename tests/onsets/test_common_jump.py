"""The jump that presses have in common, over a scene that jumps by itself all the time."""

import numpy as np
import pytest

from blinkspan.onsets.common_jump import common_jumps
from blinkspan.onsets.idle import Moments, learn_idle

PERIOD = 1 / 240
PRESSES = [200 * k + 200 for k in range(8)]
WAITS = [14, 22, 17, 25, 19, 15, 23, 18]
LONGEST = 72  # frames: no later answer is looked for
EVERY = 10  # frames: as often the scene shows another picture


def lively(rng: np.random.Generator) -> np.ndarray:
    """Return a film of soft pictures, each unlike the one before, with a little noise."""
    pictures = rng.normal(0, 1, (190, 12, 16)).repeat(2, axis=1).repeat(2, axis=2)
    film = 20000 + 1500 * pictures.repeat(EVERY, axis=0)[:1850]
    return film + rng.normal(0, 60, film.shape)


def answered(film: np.ndarray, lit: np.ndarray, stays: int = 50) -> np.ndarray:
    """Return the film with light added some frames after each press."""
    film = film.copy()
    for press, wait in zip(PRESSES, WAITS, strict=True):
        film[press + wait : press + wait + stays] += lit
    return film


def told(film: np.ndarray, presses=tuple(PRESSES)) -> list[float | None] | None:
    film = np.clip(film, 0, 65535).astype(np.uint16)
    idle = learn_idle(film, Moments([p + 110 for p in PRESSES[:-1]], 60), PERIOD)
    return common_jumps(film, [(p, p + 150) for p in presses], idle, PERIOD)


def frames_off(found: list[float | None]) -> np.ndarray:
    return np.array(found, float) - np.array(PRESSES) - np.array(WAITS)


@pytest.fixture
def lit() -> np.ndarray:
    """Return light in a part of the picture, no stronger than what the scene does by itself."""
    light = np.zeros((24, 32))
    light[6:18, 8:24] = 3000
    return light


def test_every_press_is_placed_where_it_jumps_as_the_others_do(lit):
    off = frames_off(told(answered(lively(np.random.default_rng(1)), lit)))
    assert np.ptp(off) < 2.5
    assert abs(np.median(off)) < 4


def test_a_scene_that_only_jumps_by_itself_has_nothing_in_common(lit):
    assert told(lively(np.random.default_rng(2))) is None


def test_the_end_of_an_answer_is_not_its_begin(lit):
    film = lively(np.random.default_rng(3))
    for press, wait in zip(PRESSES, WAITS, strict=True):  # grows unseen, ends at once
        film[press + wait : press + wait + 40] += lit * np.linspace(0, 1, 40)[:, None, None]
    assert told(film) is None


def test_an_end_that_jumps_as_well_leaves_the_begin_found(lit):
    off = frames_off(told(answered(lively(np.random.default_rng(4)), lit, stays=20)))
    assert np.ptp(off) < 2.5


def test_a_press_that_nothing_answers_has_no_jump(lit):
    film = lively(np.random.default_rng(5))
    film_answered = answered(film, lit)
    film_answered[PRESSES[3] : PRESSES[3] + LONGEST + 20] = film[
        PRESSES[3] : PRESSES[3] + LONGEST + 20
    ]
    found = told(film_answered)
    assert found is not None
    assert found[3] is None
    assert None not in found[:3] + found[4:]


def test_four_presses_have_nothing_in_common(lit):
    film = answered(lively(np.random.default_rng(6)), lit)
    assert told(film, tuple(PRESSES[:4])) is None


def test_a_film_that_ends_early_leaves_its_last_press_out(lit):
    film = answered(lively(np.random.default_rng(7)), lit)[: PRESSES[-1] + 12]
    found = told(film)
    assert found is not None
    assert found[-1] is None
    assert None not in found[:-1]


def test_presses_that_were_not_asked_are_placed_as_well(lit, monkeypatch):
    monkeypatch.setattr("blinkspan.onsets.common_jump._MOST_ASKED", 5)
    off = frames_off(told(answered(lively(np.random.default_rng(8)), lit)))
    assert np.ptp(off) < 2.5


@pytest.mark.parametrize("stays", [1, 3, 8])
def test_a_light_without_noise_that_is_gone_at_once_is_no_trouble(lit, stays):
    still = np.full((1850, 24, 32), 20000.0)
    found = told(answered(still, lit, stays=stays))
    assert found is None or np.ptp(frames_off(found)) < 2.5
