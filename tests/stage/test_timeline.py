"""When things happen: published (uniform waits) and exact (ticks, queues, misses).

A wait for a tick of period T is uniform: mean T/2, standard deviation T/sqrt(12)
(JCGM 100:2008, 4.3.7); two independent waits add their variances.
"""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from blinkspan.stage.equipment import Display
from blinkspan.stage.play import Action, ActionKind, Game, Presses
from blinkspan.stage.scene import Scene
from blinkspan.stage.timeline import plan
from blinkspan.stage.truth_of import expected_truth

_MANY = Presses(count=3000, every_s=0.31, jitter_s=0.1, hold_s=0.05)
_EXACT_60 = Display(refresh_hz=Fraction(60))


def _spans_ms(scene):
    return np.array([press.span_ms for press in expected_truth(replace(scene, seed=5)).presses])


# Means and deviations of the waits: algebra for one uniform wait and for the sum of
# two (8 ms poll and 60 Hz tick: 12.3333 and 5.33681 ms; 4 ms and 120 Hz: 6.1667 and 2.66839).
@pytest.mark.parametrize(
    ("refresh", "rate", "poll_ms", "mean_ms", "sd_ms"),
    [
        (60, 60, 0.0, 8.333333, 4.811252),
        (60, 30, 0.0, 16.666667, 9.622504),
        (60, 60, 8.0, 12.3333, 5.33681),
        (120, 120, 4.0, 6.1667, 2.66839),
    ],
)
def test_waits_are_uniform_over_a_tick_and_a_poll(refresh, rate, poll_ms, mean_ms, sd_ms):
    display = Display(refresh_hz=Fraction(refresh), lag_ms=0.0)
    game = Game(rate_hz=Fraction(rate), system_ms=0.0, poll_ms=poll_ms, queue_frames=0)
    spans = _spans_ms(Scene(display=display, game=game, presses=_MANY))
    scene = Scene(display=display, game=game, presses=replace(_MANY, count=1))
    one = expected_truth(scene)
    waits = spans - one.display_lag_ms
    error_of_mean = sd_ms / np.sqrt(waits.size)
    assert waits.mean() == pytest.approx(mean_ms, abs=4 * error_of_mean)
    assert waits.std() == pytest.approx(sd_ms, rel=0.06)
    assert waits.min() >= 0.0


@pytest.mark.parametrize("queue", [0, 1, 3])
def test_each_queued_frame_adds_one_game_frame(queue):
    none = Scene(display=_EXACT_60, game=Game(queue_frames=0), presses=_MANY)
    some = Scene(display=_EXACT_60, game=Game(queue_frames=queue), presses=_MANY)
    added = _spans_ms(some) - _spans_ms(none)
    assert added == pytest.approx(np.full(_MANY.count, queue * 1000 / 60))


def test_responses_lie_on_the_refresh_grid():
    scene = Scene(presses=_MANY, game=Game(dropped_frame=0.1, extra_frame=0.2))
    truth = expected_truth(scene)
    down_s = (truth.display_lag_ms - truth.top_row_lag_ms) / 1e3
    at = np.array([press.response_s for press in truth.presses]) - down_s - truth.grid_s
    cycles = at * truth.refresh_hz
    assert cycles == pytest.approx(np.rint(cycles), abs=1e-6)


def test_answers_fall_on_delivered_frames_only():
    scene = Scene(presses=_MANY, game=Game(dropped_frame=0.3))
    timeline = plan(scene, np.random.default_rng(2))
    shown = [timeline.delivered[press.tick] for press in timeline.presses]
    assert all(shown)
    late = np.mean([press.queue_frames > 2 for press in timeline.presses])
    assert late == pytest.approx(0.3, abs=0.03)


def test_the_display_lag_is_the_top_rows_and_the_scan_down_to_the_row():
    scene = Scene(display=replace(_EXACT_60, lag_ms=4.0))
    truth = expected_truth(scene)
    top, bottom = truth.panel.corners[0][1], truth.panel.corners[3][1]
    down = (truth.watch.y + truth.watch.height / 2 - top) / (bottom - top)
    assert truth.display_lag_ms == pytest.approx(4.0 + down * 16.0, abs=1e-3)


def test_missed_presses_have_no_response_and_come_as_often_as_asked():
    scene = Scene(presses=_MANY, game=Game(miss=0.25))
    presses = plan(scene, np.random.default_rng(3)).presses
    missed = [press.tick is None for press in presses]
    assert np.mean(missed) == pytest.approx(0.25, abs=0.03)
    assert all(press.queue_frames is None for press in presses if press.tick is None)


def test_nothing_answers_where_there_is_no_action():
    scene = Scene(action=Action(ActionKind.NONE))
    assert plan(scene, np.random.default_rng(3)).answers() == []


def test_strays_keep_away_from_every_answer():
    scene = Scene(presses=Presses(count=20, every_s=1.0), game=Game(stray=8))
    timeline = plan(scene, np.random.default_rng(4))
    strays = [timeline.tick_s[tick] for tick in timeline.stray_ticks]
    others = [timeline.tick_s[press.tick] for press in timeline.presses]
    assert len(strays) == 8
    assert min(abs(a - b) for a in strays for b in others) > 0.2


def test_double_presses_each_have_their_own_answer():
    scene = Scene(presses=Presses(count=10, every_s=0.9, double=1.0, double_gap_s=0.2))
    presses = plan(scene, np.random.default_rng(4)).presses
    assert len(presses) == 20
    gaps = [b.lamp_on_s - a.lamp_on_s for a, b in zip(presses[::2], presses[1::2], strict=True)]
    assert gaps == pytest.approx([0.2] * 10)
    assert len({press.tick for press in presses}) == 20


def test_a_bouncing_contact_keeps_its_first_closing_and_last_opening():
    scene = Scene(presses=Presses(count=10, bounce_ms=6.0))
    for press in plan(scene, np.random.default_rng(4)).presses:
        flat = [t for closing in press.closings for t in closing]
        assert len(press.closings) == 3
        assert flat == sorted(flat)
        assert (flat[0], flat[-1]) == (press.lamp_on_s, press.lamp_off_s)
        assert flat[-2] - flat[0] <= 0.006


def test_a_wandering_game_leaves_the_grid():
    scene = Scene(game=Game(frame_wander_ms=6.0))
    timeline = plan(scene, np.random.default_rng(4))
    steps = np.diff(timeline.tick_s)
    assert steps.min() >= timeline.period_s - 1e-12
    assert steps.mean() == pytest.approx(timeline.period_s + 0.003, abs=4e-4)
