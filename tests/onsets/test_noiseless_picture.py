"""Idle behaviour of a picture without noise, as a grabbed screen is: published and exact.

On recordings of a real program (tests/outside/recorded_program.py) a bar that swayed by
itself was taken for the answer in one press of eight, since cells that had not changed
in the idle moments were held to be still without limit.
"""

import numpy as np

from blinkspan.footage.frames import PictureFormat, TransferCurve
from blinkspan.onsets.evidence import first_change, learn_evidence, score_of
from blinkspan.onsets.idle import Moments, learn_idle
from blinkspan.onsets.look import look_before
from blinkspan.traces.light import FULL_SCALE, light_of_codes

PERIOD = 1 / 240


def test_nothing_is_held_stiller_than_the_codes_can_tell():
    codes = np.full((600, 12, 16), 60)
    table = light_of_codes(PictureFormat(16, 12, 8, False, TransferCurve.BT709))
    idle = learn_idle(table[codes], Moments([60, 200, 340], 40), PERIOD)
    # JCGM 100, 4.3.7: a value known to a step has u = step / sqrt(12); a cell is the mean of
    # some pixels, hence a third. The darkest step of video is the smallest.
    steps = np.diff(table[16:236].astype(float)) / FULL_SCALE
    assert (idle.sd >= steps.min() / 12**0.5 / 3).all()
    assert (idle.sd <= steps.max() / 12**0.5).all()  # and yet a single code's change is seen


def test_an_encoders_last_bit_is_no_change_and_one_code_is():
    light = np.full((600, 12, 16), 9000, np.uint16)
    moments = Moments([60, 200, 340], 40)
    idle = learn_idle(light, moments, PERIOD)
    evidence = learn_evidence(light, idle)
    for change, seen in ((2, None), (150, 20)):  # far below a code, and about half of one
        film = light.copy()
        film[470:, 4:6, 4:6] += change
        score = score_of(film, 450, 520, look_before(film, 450, PERIOD), idle, evidence)
        assert first_change(score, evidence.threshold) == seen


def test_a_picture_that_is_drawn_anew_at_rest_still_shows_an_answer_that_is_far_greater():
    light = np.full((900, 12, 16), 9000, np.uint16)
    moments = Moments(list(range(30, 630, 60)), 40)
    drawn = np.random.default_rng(5)
    for key in (68, 248, 368, 608):  # an encoder draws some of what it had left out
        light[key:] = 9000 + drawn.integers(-300, 300, light.shape[1:])
    idle = learn_idle(light, moments, PERIOD)
    film = light.copy()
    film[720:, 4:8, 4:8] += 9000
    look = look_before(film, 710, PERIOD)
    found = []
    for open_ended in (False, True):
        evidence = learn_evidence(film, idle, open_ended=open_ended)
        score = score_of(film, 710, 780, look, idle, evidence)
        found.append(first_change(score, evidence.threshold))
    assert found == [None, 10]
