"""Pictures lost just after an answer began: known footage, as a busy screen grabber leaves it."""

from dataclasses import replace

import numpy as np
import pytest

from presses.array_film import measured, staged


@pytest.mark.parametrize("lost_ms", [(14, 55), (5, 90)])
def test_a_gap_where_the_answer_should_be_looked_at_leaves_the_others_measured(lost_ms):
    film = staged(count=6, seed=3)
    after_s = film.frames / film.rate_hz - film.responses_s[2]
    kept = np.flatnonzero((after_s < lost_ms[0] / 1e3) | (after_s > lost_ms[1] / 1e3))
    found = measured(replace(film, kept=tuple(kept.tolist())))
    true_s = [r - on for r, on in zip(film.responses_s, film.lamp_on_s, strict=True)]
    assert len(found.presses) == 6
    for press, span_s in zip(found.presses, true_s, strict=True):
        if press.number != 3 or press.verdict == "accepted":
            assert press.verdict == "accepted"
            assert abs(press.span.value - span_s) < 3 * press.span.u
