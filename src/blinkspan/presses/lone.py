"""An answer that no other press bears out has to stand out by itself.

Told in plain light and not in units of the take's own idling: a take of one press holds
so little of that, that an encoder's key frame may look like a change of a thousand times
the usual.
"""

import numpy as np

from blinkspan.onsets.look import light_of
from blinkspan.presses.searching import Found, Search
from blinkspan.traces.reduction import Series
from blinkspan.traces.trace import Samples

FEWEST_WITNESSES = 3  # answers; with fewer, none bears another out
_NEAR_GAME_FRAMES = 1.0
# The answer's jump against the greatest that the rest of the take makes by itself, in squared
# light (staged takes cut to one press).
_OVER_ITSELF = 4.0
_BLOCKS_A_SIDE = 6
_FRAMES_AT_ONCE = 512


def stands_out(
    series: Series, search: Search, found: Found, k: int, begin_s: float, game_frame_s: float
) -> bool:
    """Tell whether the greatest jump of all that follows a press is where its answer begins.

    An invented answer is some whim of the scene, before the true one or instead of it:
    nothing before the answer may jump like it, neither before the press nor after.
    """
    if found.learnt is None:
        return False
    start_s, period = series.clock.start_s, series.clock.period_s
    run = max(1, round(game_frame_s / period))
    jumps = _jumps(series, search.stop, run)
    if jumps.size == 0:
        return False
    at_s = start_s[: jumps.size] + game_frame_s / 2
    after = np.arange(jumps.size) >= search.lamp_frame - run
    near = np.abs(at_s - begin_s) <= _NEAR_GAME_FRAMES * game_frame_s + period
    if not (near & after).any():
        return False
    mine = float(jumps[near & after].max())
    # What the answer does next is its own affair; but nothing later may be far greater.
    before = jumps[~near & (at_s < begin_s) & _rest(series, found, jumps.size, k, begin_s)]
    later = jumps[~near & (at_s >= begin_s)]
    calm = before.size == 0 or mine >= _OVER_ITSELF * float(before.max())
    return calm and (later.size == 0 or mine >= float(later.max()))


def _rest(series: Series, found: Found, size: int, k: int, begin_s: float) -> np.ndarray:
    """Return which moments no other press's answer explains."""
    start_s = series.clock.start_s[:size]
    free = np.ones(size, bool)
    for other, answer in enumerate(found.answers):
        if other != k and answer is not None:
            free &= (start_s < answer.fit.at_s - 0.1) | (start_s > answer.fit.at_s + 0.5)
    return free


def _jumps(series: Series, stop: int, run: int) -> Samples:
    """Return the greatest mean squared change of any block over ``run`` frames, up to a frame."""
    film = series.watch
    last = min(stop, film.shape[0]) - run
    rows = np.unique(np.linspace(0, film.shape[1], _BLOCKS_A_SIDE + 1).astype(int))[:-1]
    columns = np.unique(np.linspace(0, film.shape[2], _BLOCKS_A_SIDE + 1).astype(int))[:-1]
    cells = np.add.reduceat(np.ones(film.shape[1]), rows)[:, None] * np.add.reduceat(
        np.ones(film.shape[2]), columns
    )
    jumps = np.zeros(max(0, last))
    for first in range(0, max(0, last), _FRAMES_AT_ONCE):
        until = min(last, first + _FRAMES_AT_ONCE)
        change = light_of(film, first + run, until + run) - light_of(film, first, until)
        by_row = np.add.reduceat(change**2, rows, axis=1)
        blocks = np.add.reduceat(by_row, columns, axis=2) / cells
        jumps[first:until] = blocks.max(axis=(1, 2))
    return jumps
