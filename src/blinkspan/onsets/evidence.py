"""Where the watched region first does what it never does on its own.

Each frame is compared with the look before the press, cell by cell, in units
of the take's own idle change. Small and large changes both count: the score is
the largest of many blocks' and the whole region's surprise. The threshold comes
from the same score at idle moments of the same take.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.idle import Idle, strayed
from blinkspan.onsets.look import Frame, Light, Look
from blinkspan.traces.reduction import Film
from blinkspan.traces.trace import Samples

_BLOCKS_A_SIDE = 12
_MOST_STRAYED = 20.0  # idle standard deviations that one cell counts: none speaks for a block
_LEAST_SCORE = 7.0  # in idle standard deviations; chance alone stays below (Gaussian tail)
# The threshold lies this many times as far above the idle median as the greatest score of
# most moments does; the wildest few are left out, for they may hold an answer without a press.
_TAIL, _MOST_MOMENTS = 2.2, 80.0


@dataclass(frozen=True, slots=True)
class Evidence:
    """The score of surprise and where it counts.

    Attributes
    ----------
    typical, scale : ndarray, shape (blocks,)
        The idle level and spread of each block's mean squared change.
    threshold : float
    open_ended : bool
        Whether a cell that strays farther than most counts for more.
    """

    typical: Samples
    scale: Samples
    threshold: float
    open_ended: bool


def learn_evidence(film: Film, idle: Idle, *, open_ended: bool = False) -> Evidence:
    """Return the scale of surprise, learnt from the idle moments.

    A picture without noise strays at rest by as much as a cell may count, wherever an encoder
    draws it anew: only ``open_ended`` does an answer then stand out of that.
    """
    reach = idle.moments.reach
    by_moment = [
        _block_surprise(film, m, m + reach, look, idle, open_ended=open_ended)
        for m, look in zip(idle.moments.frames, idle.looks, strict=True)
    ]
    surprise = np.concatenate(by_moment)
    typical = np.median(surprise, axis=0)
    scale = np.maximum((np.percentile(surprise, 95, axis=0) - typical) / 1.645, 0.02)
    scores = [((each - typical) / scale).max(axis=1) for each in by_moment]
    middle = float(np.median(np.concatenate(scores)))
    tail = float(np.percentile([score.max() for score in scores], _MOST_MOMENTS))
    threshold = max(_LEAST_SCORE, middle + _TAIL * (tail - middle))
    return Evidence(typical, scale, threshold, open_ended)


def score_of(
    film: Film, first: Frame, stop: Frame, look: Look, idle: Idle, evidence: Evidence
) -> Samples:
    """Return the score of frames ``first`` to ``stop`` against the look before, shape (m,)."""
    surprise = _block_surprise(film, first, stop, look, idle, open_ended=evidence.open_ended)
    score: Samples = ((surprise - evidence.typical) / evidence.scale).max(axis=1)
    return score


def first_change(score: Samples, threshold: float) -> int | None:
    """Return the first sample above the threshold that the next one confirms, or None."""
    above = score > threshold
    confirmed = np.flatnonzero(above[:-1] & above[1:])
    return int(confirmed[0]) if confirmed.size else None


def _block_surprise(
    film: Film, first: Frame, stop: Frame, look: Look, idle: Idle, *, open_ended: bool
) -> npt.NDArray[np.float64]:
    """Mean squared change in idle units of each block and of the whole, shape (m, blocks + 1)."""
    stop = min(stop, film.shape[0])
    height, width = look.light.shape
    by_row, by_column = _averages(height), _averages(width)
    means = np.empty((stop - first, by_row.shape[0], by_column.shape[0]), np.float32)
    for frames, z in strayed(film, first, stop, look, idle):
        if open_ended:
            far = np.abs(z) > _MOST_STRAYED
            z[far] = _MOST_STRAYED * (1 + np.log(np.abs(z[far]) / _MOST_STRAYED))
        else:
            np.clip(z, -_MOST_STRAYED, _MOST_STRAYED, out=z)
        np.multiply(z, z, out=z)
        np.matmul(by_row @ z.reshape(-1, height, width), by_column.T, out=means[frames])
    shares = np.outer((by_row > 0).sum(axis=1) / height, (by_column > 0).sum(axis=1) / width)
    whole = np.einsum("mrc,rc->m", means, shares)
    return np.column_stack([means.reshape(means.shape[0], -1), whole])


@lru_cache(maxsize=8)
def _averages(cells: int) -> Light:
    """Return the matrix that averages a side's cells in equal parts, shape (parts, cells)."""
    parts = np.array_split(np.arange(cells), min(_BLOCKS_A_SIDE, cells))
    matrix = np.zeros((len(parts), cells), np.float32)
    for row, part in zip(matrix, parts, strict=True):
        row[part] = 1 / part.size
    matrix.setflags(write=False)
    return matrix
