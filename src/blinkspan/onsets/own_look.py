"""Answers that show in another place each time: a highlight that walks down a menu.

No picture is common to them, so that a mean over presses shows none of them. Each press
is then held against its own first look: how far the picture has gone there, as a share
of the way it goes. That course is the same for all presses, and aligns as any other.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import uniform_filter

from blinkspan.onsets.alignment import Course
from blinkspan.onsets.idle import Idle
from blinkspan.onsets.look import Frame, Light, Look, change_since
from blinkspan.onsets.pattern import (
    FEATURES,
    Change,
    Pattern,
    clear_of_noise,
    difference,
    strong_cells,
)
from blinkspan.traces.reduction import Film
from blinkspan.traces.trace import Samples

_COMMON = 0.6  # overlap of two looks' places, of 1: answers mostly above it share their place
_CLEAR, _NEAR_CELLS = 5.0, 5  # idle standard deviations; cells around one that count as its place
_FAINT = 0.3  # of the usual height
# Of what a place changes in the first game frame of its answer: so much in the one before it, and
# the answer had begun (squares; figures that walk: 0.2 and more where it had, 0.1 else).
_HAD_BEGUN = 0.2
_FEWEST = 4  # presses: of fewer, what is common cannot be told


@dataclass(frozen=True, slots=True)
class OwnLooks:
    """Each press's own first look of its answer.

    Attributes
    ----------
    looks : sequence of ndarray, shape (rows, columns), or None
        Change of each cell in idle units, zero where the press changes nothing;
        None for a press without an answer.
    heights : ndarray, shape (presses,)
        How far the picture goes along its own look, in idle standard deviations.
    row_px, row_spread_px : ndarray, shape (presses,)
        Where in the picture each press's change sits, and its standard deviation.
    first_light : float
        How much light the cells of a first look gain or lose, as a mean; 0 to 1.
    one_place : bool
        Whether all show in the same place; then what returns there looks like an answer too.
    """

    looks: Sequence[Light | None]
    heights: Samples
    row_px: Samples
    row_spread_px: Samples
    first_light: float
    one_place: bool = False


def own_looks(
    film: Film, row_px: Samples, idle: Idle, changes: Sequence[Change | None], *, sure: bool
) -> OwnLooks | None:
    """Return each press's own look, or None where the answers share their place.

    Parameters
    ----------
    film : ndarray of uint16, shape (n, rows, columns)
    row_px : ndarray, shape (rows,)
    idle : Idle
    changes : sequence of Change or None, one a press
    sure : bool
        That the answers do not share their place.
    """
    whole = [
        None
        if change is None
        else clear_of_noise(difference(film, change.before, change.first, idle))
        for change in changes
    ]
    changed = [look for look in whole if look is not None and look.any()]
    if len(changed) < _FEWEST or not (sure or _usual_overlap(changed) < _COMMON):
        return None
    looks = [None if look is None or not look.any() else strong_cells(look, idle) for look in whole]
    heights, rows, spreads = (np.full(len(looks), np.nan) for _ in range(3))
    light = []
    for k, (look, change) in enumerate(zip(looks, changes, strict=True)):
        if look is None or change is None:
            continue
        reached = difference(film, change.before, change.first, idle)
        heights[k] = float((reached * look).sum()) / float(np.linalg.norm(look))
        weight = (look**2).sum(axis=1)
        rows[k] = np.average(row_px, weights=weight)
        spreads[k] = np.average((row_px - rows[k]) ** 2, weights=weight) ** 0.5
        light.append(float(np.abs(look * idle.sd)[look != 0].mean()))
    return OwnLooks(looks, heights, rows, spreads, float(np.median(light)))


def without_faint(own: OwnLooks) -> OwnLooks:
    """Return looks of one place, but for those that hardly change anything beside the others."""
    faint = own.heights < _FAINT * np.nanmedian(own.heights)
    looks = [None if hardly else look for look, hardly in zip(own.looks, faint, strict=True)]
    return replace(own, looks=looks, one_place=True)


def _usual_overlap(looks: Sequence[Light]) -> float:
    """Return how much of their places two looks share as a rule: 0 nothing, 1 all.

    A place counts as changed once it changes clearly, however strongly: the edges of a
    view that turns are elsewhere each time, but the view turns everywhere.
    """
    around = [uniform_filter(np.minimum(np.abs(look), _CLEAR), _NEAR_CELLS) for look in looks]
    roots = np.stack([each.ravel() / float(np.linalg.norm(each)) for each in around])
    overlap = roots @ roots.T
    return float(np.median(overlap[np.triu_indices(len(looks), 1)]))


def own_course(
    film: Film,
    start_s: Samples,
    stretch: tuple[Frame, Frame],
    before: Look,
    idle: Idle,
    own: OwnLooks,
    press: int,
) -> Course:
    """Return how far a press has gone along its own look, as the only feature of one band.

    All presses are brought to the same height, the usual one.
    """
    first, stop = max(0, stretch[0]), min(start_s.size, stretch[1])
    values = np.zeros((stop - first, 1, FEATURES))
    look = own.looks[press]
    if look is not None:
        rows = np.flatnonzero(look.any(axis=1))
        part = slice(int(rows[0]), int(rows[-1]) + 1)
        away = change_since(film, first, stop, before)[:, part] / idle.sd[part]
        along = np.einsum("mrc,rc->m", away, look[part]) / float(np.linalg.norm(look))
        values[:, 0, 0] = along * (float(np.nanmedian(own.heights)) / own.heights[press])
    return Course(start_s[first:stop], values)


def had_begun(
    film: Film,
    start_s: Samples,
    before: Look,
    idle: Idle,
    look: Light,
    last_s: Samples,
) -> bool:
    """Tell whether a press's own place changed in the game frame before its answer already.

    Parameters
    ----------
    film : ndarray of uint16, shape (n, rows, columns)
    start_s : ndarray, shape (n,)
    before : Look
        Before the press.
    idle : Idle
    look : ndarray, shape (rows, columns)
        The press's own first look.
    last_s : ndarray, shape (3,)
        Until when frames may start to show the game frame before the last one before the
        answer, that last one, and the answer's first, and nothing of what follows each.
    """
    place = uniform_filter((look != 0).astype(float), _NEAR_CELLS) > 0
    changed = []
    for frame in np.searchsorted(start_s, last_s) - 1:
        at = int(np.clip(frame, 0, start_s.size - 1))
        away = change_since(film, at, at + 1, before)[0] / idle.sd
        changed.append(float((away[place] ** 2).sum()))
    earlier, just_before, after = changed
    return just_before - earlier > _HAD_BEGUN * after


def own_pattern(own: OwnLooks, shape: tuple[int, int]) -> Pattern:
    """Return the pattern of answers that have no look in common: one band, their middle row."""
    nothing: Light = np.zeros(shape, np.float32)
    return Pattern(
        nothing,
        nothing,
        ((0, shape[0]),),
        np.array([float(np.nanmedian(own.row_px))]),
        np.array([float(np.nanmedian(own.row_spread_px))]),
        np.ones((1, FEATURES)),
        own.first_light,
    )
