"""How the watched region behaves when nothing was pressed.

A take is its own control: moments well clear of every press tell how much each
cell of the picture changes by itself (noise, flicker, breathing figures, weather),
over the same gaps of time at which a response will be looked for.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.drift import Drift, learn_drift, look_at
from blinkspan.onsets.look import REFERENCE_S, Frame, Light, Look, change_since, steadied
from blinkspan.traces.light import FULL_SCALE
from blinkspan.traces.reduction import Film

_MOST_MOMENTS, _FEWEST_MOMENTS = 40, 8
_KEPT = 0.8
# A picture without noise (a grabbed screen) is still known to its codes only: the darkest 8-bit
# step is 1/219/4.5 = 1e-3 of full light, its standard deviation 3e-4 (JCGM 100, 4.3.7), and a
# third of that for a cell of some pixels. Without it the least motion outshouts any answer.
_LEAST_SD = 1e-4
# How long after a press the picture is not idle, and over what gap idle change is learnt:
# the first pair that leaves enough moments.
_GUARD_AND_REACH_S = ((1.2, 0.25), (0.9, 0.25), (0.6, 0.20))
# Where presses follow too closely for that: from well before a press until just after the
# lamp, before any game can answer.
_JUST_BEFORE_S, _JUST_AFTER_S = 0.060, 0.008
_CELLS_AT_ONCE = 2**19  # two megabytes: more leave a processor's own memory, fewer cost calls


@dataclass(frozen=True, slots=True)
class Moments:
    """Frames from which the take is idle for ``reach`` frames."""

    frames: list[Frame]
    reach: int


def idle_moments(
    start_s: npt.NDArray[np.float64], lamp_frames: list[Frame], period_s: float
) -> Moments:
    """Return at most 40 idle moments, spread evenly over the take.

    Where presses follow each other too closely for a guard after each, the
    moments just before each press serve: by then the last answer is over.
    """
    before = round(REFERENCE_S / period_s)
    for guard_s, reach_s in _GUARD_AND_REACH_S:
        guard, reach = round(guard_s / period_s), round(reach_s / period_s)
        frames = _free(start_s.size, lamp_frames, before, guard, reach)
        if len(frames) >= _FEWEST_MOMENTS:
            pick = np.linspace(0, len(frames) - 1, min(_MOST_MOMENTS, len(frames)))
            return Moments([frames[i] for i in np.unique(np.rint(pick).astype(int))], reach)
    early, late = round(_JUST_BEFORE_S / period_s), round(_JUST_AFTER_S / period_s)
    frames = [frame - early for frame in lamp_frames if frame - early >= before]
    return Moments(frames or [before], early + late)


def _free(n: int, lamp_frames: list[Frame], before: int, guard: int, reach: int) -> list[Frame]:
    busy = np.zeros(n + 1, np.intp)
    for frame in lamp_frames:
        busy[min(n, max(0, frame - 2))] += 1
        busy[min(n, frame + guard)] -= 1
    run = np.concatenate([[0], np.cumsum(np.cumsum(busy)[:n] == 0)])
    firsts = np.arange(before, max(before, n - reach))
    good = firsts[(run[firsts + reach] - run[firsts - before]) == before + reach]
    frames: list[Frame] = []
    for frame in good.tolist():
        if not frames or frame - frames[-1] >= max(1, reach // 2):
            frames.append(frame)
    return frames


@dataclass(frozen=True, slots=True)
class Idle:
    """What the take does on its own.

    Attributes
    ----------
    moments : Moments
        What the behaviour was learnt from.
    sd : ndarray of float32, shape (rows, columns)
        How far a cell strays from its look before, as a standard deviation.
    looks : list of Look
        Just before each moment.
    drift : Drift | None
        Where the view drifts by itself; then looks drift on.
    """

    moments: Moments
    sd: Light
    looks: list[Look]
    drift: Drift | None = None


def learn_idle(film: Film, moments: Moments, period_s: float) -> Idle:
    """Return the idle behaviour over the given moments, at least one."""
    drift = learn_drift(film, moments.frames, moments.reach, period_s)
    looks = [look_at(film, m, period_s, drift) for m in moments.frames]
    per_moment = np.stack(
        [
            (change_since(film, m, m + moments.reach, look) ** 2).mean(axis=0)
            for m, look in zip(moments.frames, looks, strict=True)
        ]
    )
    # The mean, less the wildest moments: a cut in the scene, or an answer without a press,
    # must not blind every cell.
    kept = np.sort(per_moment, axis=0)[: max(1, round(_KEPT * len(moments.frames)))]
    variance = kept.mean(axis=0)
    floor = max(float(np.median(variance)) * 0.05, _LEAST_SD**2)
    sd: Light = np.sqrt(np.maximum(variance, floor)).astype(np.float32)
    return Idle(moments, sd, looks, drift)


def strayed(
    film: Film, first: Frame, stop: Frame, look: Look, idle: Idle
) -> Iterator[tuple[slice, Light]]:
    """Yield how far frames ``first`` to ``stop`` are from a look, in idle standard deviations.

    Some frames at a time, few enough to stay in a processor's own memory: which of
    them, counted from ``first``, and an array of shape (frames, rows x columns) that
    may be changed and is good until the next step only.
    """
    cells = look.light.size
    at_once = max(1, _CELLS_AT_ONCE // cells)
    room = np.empty((min(at_once, max(0, stop - first)), cells), np.float32)
    look_in_steps = look.light.ravel() * np.float32(FULL_SCALE)
    steps = np.float32(1 / FULL_SCALE) / idle.sd.ravel()
    for at in range(first, stop, at_once):
        light = film[at : min(at + at_once, stop)]
        away = room[: light.shape[0]]
        away[:] = steadied(light, at - look.frame, look.motion).reshape(-1, cells)
        away -= look_in_steps
        away *= steps
        yield slice(at - first, at - first + light.shape[0]), away
