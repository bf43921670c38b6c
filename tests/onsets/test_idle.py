"""Idle behaviour and the evidence of change: exact, on films of noise and one moving cell."""

import numpy as np
import pytest

from blinkspan.onsets.evidence import first_change, learn_evidence, score_of
from blinkspan.onsets.idle import idle_moments, learn_idle
from blinkspan.onsets.look import look_before

PERIOD = 1 / 240
PRESSES = [200, 500, 800, 1100]


@pytest.fixture(scope="module")
def film():
    rng = np.random.default_rng(6)
    light = rng.normal(20000, 150, (1500, 24, 32))
    light[:, :6, :6] += 3000 * np.sin(np.arange(1500) / 30)[:, None, None]  # something breathes
    for press in PRESSES:
        light[press + 15 :, 12:18, 20:26] += 2500 * (-1) ** PRESSES.index(press)
    return np.clip(light, 0, 65535).astype(np.uint16)


@pytest.fixture(scope="module")
def learnt(film):
    moments = idle_moments(np.arange(1500) * PERIOD, PRESSES, PERIOD)
    idle = learn_idle(film, moments, PERIOD)
    return moments, idle, learn_evidence(film, idle)


def test_idle_moments_keep_clear_of_presses(learnt):
    moments = learnt[0]
    assert len(moments.frames) >= 8
    for moment in moments.frames:
        assert all(
            moment + moments.reach <= press or moment - 12 >= press + 0.6 * 240 for press in PRESSES
        )


def test_presses_too_close_for_a_guard_leave_the_moments_just_before_them():
    presses = list(range(100, 1400, 90))
    moments = idle_moments(np.arange(1500) * PERIOD, presses, PERIOD)
    assert all(m + moments.reach <= p + 3 for m, p in zip(moments.frames, presses, strict=True))


def test_a_cell_that_breathes_counts_less_than_a_still_one(learnt):
    sd = learnt[1].sd
    assert sd[2, 2] > 4 * np.median(sd)


def test_the_change_is_seen_where_it_begins_and_nowhere_else(film, learnt):
    _, idle, evidence = learnt
    for press in PRESSES:
        look = look_before(film, press, PERIOD)
        score = score_of(film, press, press + 60, look, idle, evidence)
        assert first_change(score, evidence.threshold) == 15
        calm = look_before(film, press - 60, PERIOD)
        before = score_of(film, press - 60, press, calm, idle, evidence)
        assert first_change(before, evidence.threshold) is None
