"""How the watched region behaves when nothing was pressed.

A take is its own control: moments well clear of every press tell how much each
cell of the picture changes by itself (noise, flicker, breathing figures, weather),
over the same gaps of time at which a response will be looked for.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.traces.light import FULL_SCALE

Film = npt.NDArray[np.uint16]
Light = npt.NDArray[np.float32]
Frame = int

REFERENCE_S = 0.050  # the look before a press is the mean of this long
_REACH_S = 0.250  # idle change is learnt over gaps up to this
_MOST_MOMENTS = 40
_GUARDS_S = (1.2, 0.9, 0.6, 0.4)  # how long after a press the picture is not idle: first that fits


def light_of(film: Film, first: Frame, stop: Frame) -> Light:
    """Return frames ``first`` to ``stop`` as light of 0 to 1, shape (m, rows, columns)."""
    return film[first:stop].astype(np.float32) / np.float32(FULL_SCALE)


def look_before(film: Film, frame: Frame, period_s: float) -> Light:
    """Return the mean picture over ``REFERENCE_S`` before a frame, shape (rows, columns)."""
    count = max(2, round(REFERENCE_S / period_s))
    look: Light = light_of(film, max(0, frame - count), max(1, frame)).mean(axis=0)
    return look


def idle_moments(
    start_s: npt.NDArray[np.float64], lamp_frames: list[Frame], period_s: float
) -> list[Frame]:
    """Return frames from which the take is idle for ``_REACH_S``, at most 40, spread evenly.

    Where presses follow each other closely the guard after a press is shortened
    step by step; with no idle time at all the list is empty.
    """
    n = start_s.size
    before, after = round(REFERENCE_S / period_s), round(_REACH_S / period_s)
    for guard_s in _GUARDS_S:
        guard = round(guard_s / period_s)
        busy = np.zeros(n + 1, np.intp)
        for frame in lamp_frames:
            busy[min(n, max(0, frame - 2))] += 1
            busy[min(n, frame + guard)] -= 1
        free = np.cumsum(busy)[:n] == 0
        run = np.concatenate([[0], np.cumsum(free)])
        firsts = np.arange(before, n - after)
        good = firsts[(run[firsts + after] - run[firsts - before]) == before + after]
        moments: list[Frame] = []
        for frame in good.tolist():
            if not moments or frame - moments[-1] >= after // 2:
                moments.append(frame)
        if len(moments) >= 6:
            pick = np.linspace(0, len(moments) - 1, min(_MOST_MOMENTS, len(moments)))
            return [moments[i] for i in np.unique(np.rint(pick).astype(int))]
    return moments


@dataclass(frozen=True, slots=True)
class Idle:
    """What the take does on its own.

    Attributes
    ----------
    moments : list of frames the behaviour was learnt from
    sd : ndarray of float32, shape (rows, columns)
        How far a cell strays from its look before, as a standard deviation.
    """

    moments: list[Frame]
    sd: Light


def learn_idle(film: Film, moments: list[Frame], period_s: float) -> Idle:
    """Return the idle behaviour over the given moments.

    Raises
    ------
    ValueError
        No moments: the caller must offer some.
    """
    if not moments:
        raise ValueError("idle behaviour needs at least one moment")
    reach = round(_REACH_S / period_s)
    per_moment = np.stack(
        [
            ((light_of(film, m, m + reach) - look_before(film, m, period_s)) ** 2).mean(axis=0)
            for m in moments
        ]
    )
    # The mean, less the wildest tenth: one cut in the scene must not blind every cell.
    kept = np.sort(per_moment, axis=0)[: max(1, round(0.9 * len(moments)))]
    variance = kept.mean(axis=0)
    floor = max(float(np.median(variance)) * 0.05, 1e-9)
    sd: Light = np.sqrt(np.maximum(variance, floor)).astype(np.float32)
    return Idle(moments, sd)
