"""Whether the presses of a take bear an answer out."""

from types import SimpleNamespace

import pytest

from blinkspan.presses.pressing import _confirmed


def context(usual_wait_s: float) -> SimpleNamespace:
    """Return six presses answered alike, one as long after its press as any might be."""
    return SimpleNamespace(
        found=SimpleNamespace(
            answers=[SimpleNamespace(fit=SimpleNamespace(gain=1.0))] * 6,
            learnt=SimpleNamespace(template=SimpleNamespace(alike=True)),
        ),
        panel=SimpleNamespace(step=SimpleNamespace(begins=[None] * 6), lost=False, hold_s=1 / 60),
        waits_s=[usual_wait_s] * 5 + [0.030],
        usual_wait_s=usual_wait_s,
    )


@pytest.mark.parametrize(("usual_wait_s", "confirmed"), [(0.025, True), (-0.015, False)])
def test_what_mostly_comes_before_its_press_is_no_answer(usual_wait_s, confirmed):
    assert _confirmed(context(usual_wait_s), 5) is confirmed
