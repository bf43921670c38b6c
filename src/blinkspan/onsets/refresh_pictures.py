"""What each refresh of the panel changes in the watched part, press by press.

Where the panel's ticks are known, the picture of a tick is the last frame that sees nothing of
the next one, every row at its own time; what the tick changed is that less the one before.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.idle import Idle
from blinkspan.onsets.look import Frame, Light
from blinkspan.onsets.ticks import Ticks
from blinkspan.quantities import Measured
from blinkspan.traces.light import FULL_SCALE
from blinkspan.traces.reduction import Series
from blinkspan.traces.trace import Samples

LONGEST_S = 0.300  # after the lamp; longer waits are looked for press by press only
RESTING = 8  # ticks before the lamp that tell what pictures have in common by chance
# Cells of one picture, and of all together: 12 million are 48 MB.
_MOST_CELLS, _MOST_IN_ALL = 4096, 12_000_000

Numbers = npt.NDArray[np.intp]  # of ticks, or places in what is known of them


@dataclass(frozen=True, slots=True)
class Changes:
    """Of each press and tick: the change, of unit length, and how great it is in idle units.

    ``first`` is each press's number of the first tick; ``lamp`` the place of the first tick
    after the lamp, the same for all.
    """

    maps: Light  # (presses, ticks, cells)
    size: Samples  # (presses, ticks)
    first: Numbers
    lamp: int

    def of(self, presses: Numbers) -> "Changes":
        """Return those of some presses."""
        return Changes(self.maps[presses], self.size[presses], self.first[presses], self.lamp)


def pictures_at(
    series: Series, ticks: Ticks, exposure: Measured, numbers: Numbers, idle: Idle
) -> tuple[Light, npt.NDArray[np.bool_]]:
    """Return the picture of each tick in idle units, and whether the film holds it.

    As the last frame shows it that sees nothing of the next tick, every row at its own time.
    Shape (ticks, rows, columns).
    """
    start_s, row_px = series.clock.start_s, series.watch_row_px
    zero = ticks.zero_at(0.0)
    rows_s = ticks.slant_s_per_px.value * row_px
    until_s = zero.value + rows_s + (numbers[:, None] + 1) * ticks.period_s
    frames = np.searchsorted(start_s, until_s - exposure.value - zero.u, side="right") - 1
    held = (frames.min(axis=1) >= 0) & (frames.max(axis=1) < start_s.size - 1)
    frames = np.clip(frames, 0, start_s.size - 1)
    first, stop = int(frames.min()), int(frames.max()) + 1
    light = series.watch[first:stop][frames - first, np.arange(row_px.size)].astype(np.float32)
    pictures: Light = light / np.float32(FULL_SCALE) / idle.sd
    return pictures, held


def changes_of(
    series: Series, lamp_frames: Sequence[Frame], idle: Idle, ticks: Ticks, exposure: Measured
) -> Changes:
    """Return what each tick changes from 0.3 s before each press's lamp to 0.3 s after it.

    Parameters
    ----------
    series : Series
    lamp_frames : sequence of int
        In which each press's lamp lights.
    idle : Idle
    ticks : Ticks
    exposure : Measured
    """
    start_s = series.clock.start_s
    count = max(RESTING, round(LONGEST_S / ticks.period_s))
    row_px = float(series.watch_row_px.mean())
    zero_s = ticks.zero_at(row_px).value
    lamps = np.ceil((start_s[list(lamp_frames)] - zero_s) / ticks.period_s).astype(np.intp)
    most_cells = min(_MOST_CELLS, _MOST_IN_ALL // (2 * count * lamps.size))
    maps, sizes = [], []
    for lamp in lamps:
        numbers = np.arange(lamp - count - 1, lamp + count)
        pictures, held = pictures_at(series, ticks, exposure, numbers, idle)
        change = np.diff(_binned(pictures, most_cells), axis=0).reshape(numbers.size - 1, -1)
        change[~(held[1:] & held[:-1])] = 0.0
        size = np.linalg.norm(change, axis=1)
        maps.append(change / np.maximum(size, 1e-6)[:, None])
        sizes.append(size)
    return Changes(np.stack(maps), np.stack(sizes).astype(float), lamps - count, count)


def _binned(pictures: Light, most_cells: int) -> Light:
    """Return pictures of fewer cells, two by two made one until few enough are left."""
    while pictures.shape[1] * pictures.shape[2] > most_cells and min(pictures.shape[1:]) > 1:
        rows, columns = pictures.shape[1] // 2 * 2, pictures.shape[2] // 2 * 2
        tall: Light = pictures[:, :rows:2, :columns] + pictures[:, 1:rows:2, :columns]
        pictures = (tall[:, :, ::2] + tall[:, :, 1::2]) / np.float32(2)
    return pictures
