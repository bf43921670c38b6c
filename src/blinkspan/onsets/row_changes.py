"""How much each band of rows changes from one camera frame to the next, over a whole take."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from blinkspan.footage.frames import Clock
from blinkspan.traces.light import FULL_SCALE
from blinkspan.traces.reduction import Film
from blinkspan.traces.trace import Samples

_MOST_BANDS = 12
_CELLS_AT_ONCE = 2**19  # two megabytes: more leave a processor's own memory, fewer cost calls
_LOOKS = 50  # frames that tell the mean light
_USUAL = 1.5  # of a pixel's usual change: what noise and the encoder do to it is left out
_WILDEST = 98.0  # per cent: what is above (a cut, an answer) must not outweigh all the rest


@dataclass(frozen=True, slots=True)
class RowChanges:
    """The change of each band of rows between neighbouring frames.

    Attributes
    ----------
    values : ndarray, shape (n - 1, bands)
        Mean absolute change of light, 0 to 1; the usual value where a frame is missing between.
    at_s : ndarray, shape (n - 1,)
        Half way between the starts of both exposures, in the clock of frames.
    row_px : ndarray, shape (bands,)
        The middle row of each band.
    light : float
        Mean light of the film, 0 to 1.
    """

    values: Samples
    at_s: Samples
    row_px: Samples
    light: float

    @property
    def tamed(self) -> Samples:
        """The changes less each band's usual value, the wildest cut off; shape (n - 1, bands)."""
        usual = np.median(self.values, axis=0)
        return np.minimum(self.values, np.percentile(self.values, _WILDEST, axis=0)) - usual


def row_changes(film: Film, row_px: Samples, clock: Clock) -> RowChanges:
    """Return the changes of a film of shape (n, rows, columns), n >= 2, by bands of its rows.

    An absolute change is linear in how much of an exposure saw the new picture,
    so that a change which falls into an exposure is shared between its two
    neighbours without loss.
    """
    n, rows = film.shape[0], film.shape[1]
    edges = np.unique(np.linspace(0, rows, min(rows, _MOST_BANDS) + 1).astype(np.intp))
    values = np.empty((n - 1, edges.size - 1))
    usual = sum(change.sum(axis=0) for _, change in _pixel_changes(film)) / (n - 1)
    left_out, alike = _USUAL * usual, np.full(film.shape[2], 1 / film.shape[2], np.float32)
    for first, change in _pixel_changes(film):
        change -= left_out
        np.maximum(change, 0.0, out=change)
        by_row = change @ alike / FULL_SCALE
        sums = np.add.reduceat(by_row, edges[:-1], axis=1)
        values[first : first + sums.shape[0]] = sums / np.diff(edges)
    gaps = clock.gaps()
    values[gaps] = np.median(values, axis=0)
    middles = [float(row_px[a:b].mean()) for a, b in pairwise(edges.tolist())]
    looks = [float(film[k : k + 1].mean()) for k in range(0, n, max(1, n // _LOOKS))]
    light = sum(looks) / len(looks) / FULL_SCALE
    return RowChanges(
        values, (clock.start_s[1:] + clock.start_s[:-1]) / 2, np.array(middles), light
    )


def _pixel_changes(film: Film) -> Iterator[tuple[int, npt.NDArray[np.float32]]]:
    """Yield the first frame's number and the absolute changes of every pixel, some at a time.

    The array may be changed.
    """
    n, rows, columns = film.shape
    at_once = max(1, _CELLS_AT_ONCE // (rows * columns))
    for first in range(0, n - 1, at_once):
        part = film[first : first + at_once + 1].astype(np.float32)
        change = part[1:] - part[:-1]
        yield first, np.abs(change, out=change)
