"""Whether answers had begun some game frames before they were found to.

Where an action starts with a small move (a swing drawn back first, a turn that sets out
slowly), the search may find the greater one that follows, at every press alike, and all that
fits well then fits a game frame late. But the picture before that is not at rest: between
game frames it changes as it does not before the lamp.
"""

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.idle import Idle
from blinkspan.onsets.look import Light, light_of
from blinkspan.onsets.step import Step
from blinkspan.presses.searching import Found, Search
from blinkspan.traces.reduction import Series
from blinkspan.traces.trace import Samples

_FRAMES_BEFORE = 3  # game frames, or refreshes where game frames are not known
_CLEAR_FRAMES = 1.5  # camera frames beside a tick that may show some of it, as encoders draw it
_BLOCK, _LIVELIEST = 4, 0.02  # cells a side; the share of blocks that speaks
# Times what changes before the lamp, and of what the answer itself changes (squares). Over a
# lively scene, where the shared jump tells the answers, encoders draw some of them beforehand.
_OVER_REST, _OVER_LIVELY_REST, _OF_ANSWER = 3.0, 30.0, 0.02


def begun_before(
    series: Series, todo: list[Search], found: Found, step: Step, frame_s: float
) -> bool:
    """Tell whether the picture changed in one of the game frames before the answers.

    By the median over presses: of one press it may be chance, or an encoder that draws the
    picture anew; answers found too late are so at every press.

    Parameters
    ----------
    series : Series
    todo : list of Search
    found : Found
        With what was learnt.
    step : Step
        Whose begins are those of the presses answered, in order.
    frame_s : float
        How long a game frame stays.
    """
    assert found.learnt is not None  # there is no step without a pattern
    idle, start_s = found.learnt.idle, series.clock.start_s
    rows_s = step.slant_s_per_px.value * (series.watch_row_px - step.row_px)
    clear_s = step.exposure_s.value + _CLEAR_FRAMES * series.clock.period_s
    answered = [
        search for search, answer in zip(todo, found.answers, strict=True) if answer is not None
    ]
    shares = []
    for search, begin in zip(answered, step.begins, strict=True):
        # The last frame that shows nothing later than each of some ticks, row by row.
        last_s = begin.value + rows_s - clear_s
        at_s = [last_s - k * frame_s for k in range(-1, _FRAMES_BEFORE + 1)]
        lamp_s = start_s[search.lamp_frame] - step.exposure_s.value
        at_s += [np.full_like(rows_s, lamp_s - k * frame_s) for k in range(_FRAMES_BEFORE + 1)]
        changes = _changes(series, np.array(at_s), idle)
        if changes is None:  # the film begins too late to tell
            continue
        shares.append(changes[1:] / max(float(changes[0]), 1e-9))
    if not shares:
        return False
    usual = np.median(shares, axis=0)
    before, at_rest = usual[:_FRAMES_BEFORE].max(), np.median(usual[_FRAMES_BEFORE + 1 :])
    over_rest = _OVER_REST if found.learnt.jumps_s is None else _OVER_LIVELY_REST
    return bool(before > max(over_rest * float(at_rest), _OF_ANSWER))


def _changes(series: Series, at_s: Samples, idle: Idle) -> Samples | None:
    """Return how much each picture differs from the next one, None where the film lacks some.

    ``at_s`` tells until when the frame that shows each row of each picture may start, shape
    (pictures, rows); the squared change in idle units is that of the liveliest blocks.
    """
    frames = np.searchsorted(series.clock.start_s, at_s, side="right") - 1
    first, stop = int(frames.min()), int(frames.max()) + 1
    if first < 0 or stop > series.clock.start_s.size:
        return None
    light = light_of(series.watch, first, stop)
    pictures = light[frames - first, np.arange(at_s.shape[1])]
    return np.array(
        [_liveliest((pictures[k] - pictures[k + 1]) / idle.sd) for k in range(len(at_s) - 1)]
    )


def _liveliest(change: Light) -> float:
    """Return the mean square of the blocks that change most."""
    rows, columns = (max(1, side // _BLOCK) for side in change.shape)
    squares: npt.NDArray[np.float64] = (
        change.astype(float)[: rows * _BLOCK, : columns * _BLOCK] ** 2
    )
    by_row = np.add.reduceat(squares, np.arange(0, squares.shape[0], _BLOCK), axis=0)
    blocks = np.add.reduceat(by_row, np.arange(0, squares.shape[1], _BLOCK), axis=1).ravel()
    return float(np.sort(blocks)[-max(1, round(_LIVELIEST * blocks.size)) :].mean())
