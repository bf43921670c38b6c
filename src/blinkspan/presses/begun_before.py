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
# Times the most that changes before the lamp, of so many presses, and of what the answer itself
# changes (squares). Over a lively scene, where the shared jump tells the answers, encoders draw
# some of them beforehand. Were nothing begun, one press in four would have its most there.
_OVER_REST, _OVER_LIVELY_REST, _MOST, _OF_ANSWER = 1.5, 15.0, 0.66, 0.02
_PLAINLY, _PLAINLY_OF_ANSWER = 10.0, 0.1  # of one press, against the most of any at rest


def begun_before(
    series: Series, todo: list[Search], found: Found, step: Step, frame_s: float
) -> npt.NDArray[np.bool_]:
    """Tell before which answers the picture changed in one of the game frames, shape (answers,).

    Before all of them where it did before most: of one press a little may be chance, or an
    encoder that draws the picture anew; answers found too late are so at every press. Of one
    press it has to be plain.

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
    # Of what the answer changes (squares): each game frame before it, and the most at rest.
    before, rest = np.zeros((len(answered), _FRAMES_BEFORE)), np.zeros(len(answered))
    told = np.zeros(len(answered), np.bool_)
    for k, (search, begin) in enumerate(zip(answered, step.begins, strict=True)):
        # The last frame of the answer's first game frame, and then the last that shows nothing
        # later than each of some ticks, row by row.
        last_s = begin.value + rows_s - clear_s
        at_s = [begin.value + rows_s + frame_s - step.exposure_s.value]
        at_s += [last_s - n * frame_s for n in range(_FRAMES_BEFORE + 1)]
        lamp_s = start_s[search.lamp_frame] - step.exposure_s.value
        at_s += [np.full_like(rows_s, lamp_s - n * frame_s) for n in range(_FRAMES_BEFORE + 1)]
        changes = _changes(series, np.array(at_s), idle)
        if changes is None:  # the film begins too late to tell
            continue
        shares = changes[1:] / max(float(changes[0]), 1e-9)
        # Nothing answers before the lamp, with which an encoder may draw the picture anew.
        since_lamp = np.array([older_s.min() for older_s in at_s[2 : 2 + _FRAMES_BEFORE]])
        lit_s = lamp_s + _CLEAR_FRAMES * series.clock.period_s
        before[k] = np.where(since_lamp > lit_s, shares[:_FRAMES_BEFORE], 0.0)
        rest[k] = max(float(shares[_FRAMES_BEFORE + 1 :].max()), 1e-9)
        told[k] = True
    if not told.any():
        return told
    over_rest = _OVER_REST if found.learnt.jumps_s is None else _OVER_LIVELY_REST
    more = (before[told] > over_rest * rest[told, None]).mean(axis=0)
    if ((more > _MOST) & (np.median(before[told], axis=0) > _OF_ANSWER)).any():
        return np.ones_like(told)
    most = before.max(axis=1)
    plain: npt.NDArray[np.bool_] = most > max(_PLAINLY * float(rest.max()), _PLAINLY_OF_ANSWER)
    return plain


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
