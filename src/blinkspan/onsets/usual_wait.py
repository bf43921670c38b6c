"""How long after the lamp most presses of a take are answered, all of them seen together.

What a scene does by itself comes at any time. Laid over each other, press on press, it
fades from the median of many, while what the presses cause stays.
"""

from collections.abc import Sequence

import numpy as np

from blinkspan.onsets.idle import Idle
from blinkspan.onsets.look import Frame, Look, change_since
from blinkspan.onsets.pattern import clear_of_noise
from blinkspan.traces.reduction import Film

_FEWEST = 5  # presses: of fewer the median keeps what single ones show
_EVERY = 2  # frames looked at
_SHOWN = 0.03  # of the greatest change that the presses have in common
_OVER_BEFORE = 4.0  # times what they have in common before any answer can have come
_BEFORE_S_SHARE = 0.1  # of the stretch looked at: nothing answers so soon


def usual_wait(
    film: Film, frames: Sequence[Frame], looks: Sequence[Look], idle: Idle, reach: int
) -> int | None:
    """Return after how many frames the presses' common change shows, None where none does.

    Parameters
    ----------
    film : ndarray of uint16, shape (n, rows, columns)
    frames : sequence of int
        In which the lamp lights.
    looks : sequence of Look
        Before each of them.
    idle : Idle
    reach : int
        Frames after the lamp that are looked at.
    """
    whole = [
        (frame, look)
        for frame, look in zip(frames, looks, strict=True)
        if frame + reach < film.shape[0]
    ]
    if len(whole) < _FEWEST:
        return None
    after = np.arange(0, reach, _EVERY)
    common = np.empty(after.size)
    for k, wait in enumerate(after.tolist()):
        strayed = [
            change_since(film, frame + wait, frame + wait + 1, look)[0] / idle.sd
            for frame, look in whole
        ]
        common[k] = float((clear_of_noise(np.median(np.stack(strayed), axis=0)) ** 2).sum())
    before = float(common[: max(1, round(_BEFORE_S_SHARE * after.size))].max())
    least = max(_SHOWN * float(common.max()), _OVER_BEFORE * before)
    shown = np.flatnonzero(common > least)
    return int(after[shown[0]]) if shown.size else None
