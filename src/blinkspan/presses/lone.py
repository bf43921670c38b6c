"""An answer that no other press bears out has to stand out by itself."""

import numpy as np

from blinkspan.onsets.evidence import score_of
from blinkspan.presses.searching import Found, Search
from blinkspan.traces.reduction import Series

FEWEST_WITNESSES = 3  # answers; with fewer, none bears another out
_BEFORE_GAME_FRAMES, _AFTER_GAME_FRAMES = 1.0, 1.0
_OVER_THRESHOLD = 4.0  # of the take's own changes (staged takes cut to one press)


def stands_out(
    series: Series, search: Search, found: Found, k: int, begin_s: float, game_frame_s: float
) -> bool:
    """Tell whether the greatest jump of all that follows a press is where its answer begins.

    An invented answer is some whim of the scene, before the true one or instead of it.
    """
    if found.learnt is None:
        return False
    learnt, start_s = found.learnt, series.clock.start_s
    first = max(0, search.lamp_frame - 2)
    scores = score_of(
        series.watch, first, search.stop, learnt.looks[k], learnt.idle, learnt.evidence
    )
    run = max(1, round(game_frame_s / series.clock.period_s))
    if scores.size <= run:
        return False
    jumps = scores[run:] - scores[:-run]
    greatest = int(np.argmax(jumps))
    jump_s = float(start_s[first + greatest]) + game_frame_s / 2
    near = (
        -_BEFORE_GAME_FRAMES * game_frame_s <= jump_s - begin_s <= _AFTER_GAME_FRAMES * game_frame_s
    )
    return near and float(jumps[greatest]) >= _OVER_THRESHOLD * learnt.evidence.threshold
