"""Which refreshes brought a new picture, and in what step the game delivers them."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.row_changes import RowChanges
from blinkspan.onsets.whole_grid import WholeGrid
from blinkspan.traces.trace import Samples

_NEW = 0.3  # of the usual change on top of the floor: so much is a new picture
_CLEAR = 3.0  # times the change of a resting refresh that the usual change must be
_NEIGHBOURS = 6  # refreshes to either side
_LEAST = 0.02  # of the fastest motion: what is slower is rest
_LONGEST_STEP = 8  # refreshes from one game frame to the next; more is a picture that rests
_FEWEST_STEPS = 12
_UPPER_BANDS = 3
_TORN_BANDS = 2  # at either side of a tear


@dataclass(frozen=True, slots=True)
class Cadence:
    """In what step new pictures come, over the moving stretches of a take.

    Attributes
    ----------
    refreshes_a_frame : int
        The commonest step from one new picture to the next.
    game_hz : float
        The rate that step means, on the signal's own clock.
    steps : int
        How many steps were seen.
    late : int
        Steps longer than the usual one: game frames that came late or were dropped.
    early : int
        Steps shorter than the usual one: breaks of the cadence.
    torn : int
        New pictures that began in the middle of a scan.
    moving_share : float
        Share of the take's refreshes that lie in moving stretches.
    """

    refreshes_a_frame: int
    game_hz: float
    steps: int
    late: int
    early: int
    torn: int
    moving_share: float


def delivered(changes: RowChanges, grid: WholeGrid, period_s: float) -> Samples:
    """Return how much each refresh changes each band, shape (refreshes, bands).

    What of a frame's change belongs to which refresh follows from its time; a frame
    within one frame period of two refreshes is shared between them by nearness.
    """
    refresh_hz = grid.refresh_hz.value
    below = grid.slant_s_per_px.value * (changes.row_px - grid.row_px)
    turns = (changes.at_s[:, None] - grid.zero_s.value - below) * refresh_hz
    first = int(np.ceil(turns.max(axis=1)[0]))
    count = int(np.floor(turns.min(axis=1)[-1])) - first + 1
    found = np.zeros((max(count, 0), below.size))
    nearest = np.rint(turns).astype(np.intp)
    # Pulses are about a frame wide either way: outside of that a change is no refresh's.
    reach = min(0.5, 1.25 * period_s * refresh_hz)
    weight = np.abs(turns - nearest) <= reach
    for band in range(below.size):
        at = nearest[:, band] - first
        mine = weight[:, band] & (at >= 0) & (at < count)
        np.add.at(found[:, band], at[mine], changes.values[mine, band])
    return found


def cadence(changes: RowChanges, grid: WholeGrid, period_s: float) -> Cadence | None:
    """Return the step in which the game delivers, or None where new pictures are not told apart."""
    by_band = delivered(changes, grid, period_s)
    if by_band.shape[0] < _FEWEST_STEPS:
        return None
    # Frames in which nothing changes tell what noise adds to every refresh.
    a_refresh = changes.at_s.size / by_band.shape[0]
    floors = np.percentile(changes.values, 5.0, axis=0) * min(a_refresh, 2.5)
    new = _new_pictures(by_band, floors)
    if new is None:
        return None
    # A torn frame is counted by its upper rows, which come on its own refresh.
    at = np.flatnonzero(new[:, :_UPPER_BANDS].mean(axis=1) >= 0.5)
    steps = np.diff(at)
    steps = steps[steps <= _LONGEST_STEP]
    if steps.size < _FEWEST_STEPS:
        return None
    usual = int(np.bincount(steps).argmax())
    return Cadence(
        refreshes_a_frame=usual,
        game_hz=grid.nominal_hz / usual,
        steps=int(steps.size),
        late=int((steps > usual).sum()),
        early=int((steps < usual).sum()),
        torn=_torn(new) if usual > 1 else 0,
        moving_share=float(steps.sum() / by_band.shape[0]),
    )


def _new_pictures(by_band: Samples, floors: Samples) -> npt.NDArray[np.bool_] | None:
    """Return where each band shows a new picture, shape (refreshes, bands).

    A slow stretch changes less a frame than a fast one, so each refresh is held against
    its neighbours.
    """
    over = by_band - floors
    total = over.sum(axis=1)
    usual = _usual(total)
    resting = total[total < _NEW * np.median(usual)]
    rest = float(np.median(resting) + np.std(resting)) if resting.size else 0.0
    moving = usual > max(_CLEAR * rest, _LEAST * float(usual.max()))
    if not moving.any():
        return None
    share = over / np.maximum(usual, 1e-12)[:, None]
    high = moving & (total >= _NEW * usual)
    if not high.any():
        return None
    each = np.median(share[high], axis=0)
    # A band in which little moves says nothing: it goes with the picture as a whole.
    lively = each > 0.25 * np.median(each)
    shown: npt.NDArray[np.bool_] = moving[:, None] & (share >= _NEW * each)
    shown[:, ~lively] = high[:, None]
    return shown


def _usual(total: Samples) -> Samples:
    """Return the change of a new picture near each refresh: the third largest of its neighbours."""
    padded = np.pad(total, _NEIGHBOURS, mode="reflect")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * _NEIGHBOURS + 1)
    usual: Samples = np.partition(windows, -3, axis=1)[:, -3]
    return usual


def _torn(new: npt.NDArray[np.bool_]) -> int:
    """Return how often the lower bands turn new one refresh before the upper ones."""
    count = 0
    bands = new.shape[1]
    for k in range(new.shape[0] - 1):
        now, then = new[k], new[k + 1]
        lower = int(now[::-1].argmin()) if not now.all() else bands
        if not _TORN_BANDS <= lower <= bands - _TORN_BANDS:
            continue
        upper, rest = slice(0, bands - lower), slice(bands - lower, bands)
        count += bool(not now[upper].any() and then[upper].all() and not then[rest].any())
    return count
