"""Whether the presses of a take bear an answer out."""

from types import SimpleNamespace

import pytest

from blinkspan.presses.pressing import _confirmed

FRAME_S = 1 / 60


def context(usual_wait_s: float, *last_s: float, own: bool = False) -> SimpleNamespace:
    """Return six presses answered alike, by default one as long after its press as any might be."""
    last_s = last_s or (0.030,)
    return SimpleNamespace(
        found=SimpleNamespace(
            answers=[SimpleNamespace(fit=SimpleNamespace(gain=1.0))] * 6,
            learnt=SimpleNamespace(template=SimpleNamespace(alike=True), own=own or None),
        ),
        panel=SimpleNamespace(
            step=SimpleNamespace(begins=[None] * 6), lost=False, moves=True, hold_s=FRAME_S
        ),
        waits_s=[usual_wait_s] * (6 - len(last_s)) + list(last_s),
        usual_wait_s=usual_wait_s,
    )


@pytest.mark.parametrize(("usual_wait_s", "confirmed"), [(0.025, True), (-0.015, False)])
def test_what_mostly_comes_before_its_press_is_no_answer(usual_wait_s, confirmed):
    assert _confirmed(context(usual_wait_s), 5) is confirmed


def test_what_moves_is_not_taken_for_later_than_game_frames_in_turn_explain():
    late_s = 0.050 + 2 * FRAME_S
    assert _confirmed(context(0.050, late_s), 5)  # frames that queue up may explain it
    assert not _confirmed(context(0.050, late_s, own=True), 5)
    assert _confirmed(context(0.050, late_s, own=True), 0)


def test_what_is_often_found_too_late_may_be_in_any_press():
    late_s = 0.050 + 2 * FRAME_S
    assert not _confirmed(context(0.050, late_s, late_s, own=True), 0)
