"""The jump that all presses of a take have in common, whenever each of them makes it.

Over a lively scene what a press changes first is often the scene's own doing. But what the
scene does differs each time, while the action changes the picture alike: of all jumps that
follow a press, the answer is the one that most resembles a jump of every other press.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.idle import Idle
from blinkspan.onsets.look import Frame, Light, light_of, look_before
from blinkspan.traces.reduction import Film
from blinkspan.traces.trace import Samples

_FEWEST = 5  # presses: fewer agree by chance
_MOST_ASKED = 40  # presses: what these have in common, the others do as well
# A jump: the picture over one stretch, and over another after the time a panel takes to scan out.
_SHOWN_S, _SCANNED_S = 0.0125, 1 / 60
_LONGEST_S = 0.300  # after the lamp; longer waits are looked for press by press only
_BACK = (1, 2)  # times that long before the lamp: what the scene has in common by itself
_MOST_JUMPS = 10  # of one press, the greatest
_ROUNDS = 8
# How alike the jumps have to be, -1 to 1, and how many times more so than those before the lamp;
# a press belongs to the others where it is alike enough as a share of what is usual.
_ALIKE, _OVER_IDLE, _BELONGS = 0.15, 2.0, 0.5
_APART_S = 0.017  # no nearer are two jumps
# Of the usual step along it, how far another press has to go, and of that elsewhere at most.
_STRONG, _ALONE = 0.5, 0.6
# Of the jump, the greatest share that may be gone, or has to be undone, just before it.
_UNDER_WAY = 0.25

Choice = npt.NDArray[np.intp]  # of one jump a press, -1 for none


@dataclass(frozen=True, slots=True)
class Jumps:
    """Jumps of all presses: maps of unit length, shape (n, cells), frames and presses (n,)."""

    maps: Light
    frames: npt.NDArray[np.intp]
    press: npt.NDArray[np.intp]

    def before(self, chosen: Choice, apart: int) -> "Jumps":
        """Return those that come clearly before the one chosen of their press."""
        until = np.where(chosen >= 0, self.frames[chosen] - apart, np.iinfo(np.intp).max)
        kept = self.frames < until[self.press]
        return Jumps(self.maps[kept], self.frames[kept], self.press[kept])


def common_jumps(
    film: Film, searched: Sequence[tuple[Frame, Frame]], idle: Idle, period_s: float
) -> list[float | None] | None:
    """Return when each press makes the jump that all have in common, or None where none is.

    Parameters
    ----------
    film : ndarray of uint16, shape (n, rows, columns)
    searched : sequence of (first, stop)
        From the frame in which each press's lamp lights, where its answer may lie.
    idle : Idle
    period_s : float

    Returns
    -------
    list of (float or None), or None
        The frame, as a broken number, that first shows the jump; None for a press that makes
        none like it.
    """
    presses, frames = len(searched), [first for first, _ in searched]
    if presses < _FEWEST:
        return None
    longest, apart = round(_LONGEST_S / period_s), round(_APART_S / period_s)
    searched = [(first, min(stop, first + longest)) for first, stop in searched]

    asked = np.unique(np.rint(np.linspace(0, presses - 1, _MOST_ASKED)).astype(int)).tolist()

    def jumps_earlier(by: Frame) -> Jumps:
        stretches = [(first - by, stop - by) for first, stop in searched]
        return _jumps(film, stretches, asked, idle, period_s)

    # Nothing pressed, or what the last press began: whichever has less in common.
    by_chance = min(most_alike(jumps_earlier(back * longest), asked)[1] for back in _BACK)
    least = max(_ALIKE, _OVER_IDLE * by_chance)
    jumps, begin = jumps_earlier(0), None
    while True:
        of_press, usual = most_alike(jumps, asked)
        if usual < least:
            return begin
        chosen = np.full(presses, -1)
        chosen[asked] = of_press
        found = _placed(film, searched, jumps, chosen, idle, period_s)
        if _is_begin(film, frames, found, idle, period_s):
            begin = found
        # The end of what an action shows is as common as its begin: is there one before?
        jumps = jumps.before(chosen, apart)


def _jumps(
    film: Film,
    searched: Sequence[tuple[Frame, Frame]],
    asked: Sequence[int],
    idle: Idle,
    period_s: float,
) -> Jumps:
    """Return the greatest jumps of the presses asked, each within its stretch of the film."""
    maps, frames, press = [], [], []
    for k in asked:
        at, away = _changes(film, *searched[k], idle, period_s)
        size: Samples = np.sqrt(np.vecdot(away, away))
        inner = size[1:-1]
        peaks = 1 + np.flatnonzero((inner >= size[:-2]) & (inner > size[2:]))
        peaks = np.sort(peaks[np.argsort(-size[peaks])][:_MOST_JUMPS])
        maps.append(away[peaks] / size[peaks, None])
        frames.append(at + peaks)
        press.append(np.full(peaks.size, k))
    return Jumps(np.concatenate(maps), np.concatenate(frames), np.concatenate(press))


def _changes(
    film: Film, first: Frame, stop: Frame, idle: Idle, period_s: float
) -> tuple[Frame, Light]:
    """Return how the picture changes across each frame of a stretch, shape (m, cells).

    And the first of them: where the film begins late or ends early there are fewer.
    """
    shown, scanned = max(1, round(_SHOWN_S / period_s)), round(_SCANNED_S / period_s)
    first = max(first, shown)
    count = max(0, min(stop, film.shape[0] - scanned - shown) - first)
    light = light_of(film, first - shown, first + count + scanned + shown) / idle.sd
    light = light.reshape(light.shape[0], -1)
    looks = np.mean([light[k : k + count + shown + scanned] for k in range(shown)], axis=0)
    return first, looks[shown + scanned :] - looks[:count]


def most_alike(jumps: Jumps, asked: Sequence[int]) -> tuple[Choice, float]:
    """Return which jump of each press asked most resembles one of every other press, and how much.

    How much is the median over presses of the median over the others; a press that is far
    less alike than that, or makes no jump, has none.
    """
    alike = (jumps.maps @ jumps.maps.T).astype(float)
    chosen, likeness = np.full(len(asked), -1), np.full(len(asked), -1.0)
    own_of = [np.flatnonzero(jumps.press == k) for k in asked]
    of_press = {k: own for k, own in enumerate(own_of) if own.size}
    if len(of_press) < _FEWEST:
        return chosen, -1.0
    nearest = np.sum([alike[:, own].max(axis=1) for own in of_press.values()], axis=0)
    first = int(np.argmax(nearest))
    for k, own in of_press.items():
        chosen[k] = own[np.argmax(alike[first, own])]
    for _ in range(_ROUNDS):
        before = chosen.copy()
        for k, own in of_press.items():
            others = chosen[[each for each in of_press if each != k]]
            to_others = _row_medians(alike[np.ix_(own, others)])
            chosen[k], likeness[k] = own[np.argmax(to_others)], to_others.max()
        if np.array_equal(before, chosen):
            break
    usual = float(np.median(likeness))
    chosen[likeness < _BELONGS * usual] = -1
    return chosen, usual


def _row_medians(values: Samples) -> Samples:
    """Return the median of each row; of short rows numpy's own takes ten times as long."""
    ranked = np.sort(values, axis=1)
    count = values.shape[1]
    medians: Samples = (ranked[:, (count - 1) // 2] + ranked[:, count // 2]) / 2
    return medians


def _placed(
    film: Film,
    searched: Sequence[tuple[Frame, Frame]],
    jumps: Jumps,
    chosen: Choice,
    idle: Idle,
    period_s: float,
) -> list[float | None]:
    """Return where each press goes along what the other ones' jumps have in common.

    A press that was not asked, or whose own jump is unlike them since the scene jumps at once
    with it, may still go that way at one place far more than anywhere else.
    """
    reach = round(_SHOWN_S / period_s) + round(_SCANNED_S / period_s)
    common = jumps.maps[chosen[chosen >= 0]].sum(axis=0)
    found: list[float | None] = [None] * len(searched)
    steps = []
    for k, jump in enumerate(chosen.tolist()):
        if jump >= 0:
            at = int(jumps.frames[jump])
            first, away = _changes(film, at - reach, at + reach + 1, idle, period_s)
            along: Samples = away @ (common - jumps.maps[jump])
            if along.max() > 0:
                found[k] = first + _middle(along)
                steps.append(float(along.max()))
    if not steps:
        return found
    for k in np.flatnonzero(chosen < 0).tolist():
        first, away = _changes(film, *searched[k], idle, period_s)
        if not len(away):
            continue
        along = away @ common
        top = int(np.argmax(along))
        near = slice(max(0, top - reach), top + reach + 1)
        elsewhere = np.delete(along, np.arange(along.size)[near]).max(initial=0.0)
        if along[top] > _STRONG * np.median(steps) and elsewhere < _ALONE * along[top]:
            found[k] = first + near.start + _middle(along[near])
    return found


def _middle(along: Samples) -> float:
    """Return the middle of what rises above half of the greatest value, as a broken place."""
    above = np.maximum(along - along.max() / 2, 0.0)
    return float(np.average(np.arange(above.size), weights=above))


def _is_begin(
    film: Film,
    frames: Sequence[Frame],
    found: list[float | None],
    idle: Idle,
    period_s: float,
) -> bool:
    """Tell whether the picture just before the jump is still as it was before the lamp.

    Where it lies the jump's way from there, the answer was under way; where it lies the other
    way, the jump is the answer's end.
    """
    shown, scanned = max(1, round(_SHOWN_S / period_s)), round(_SCANNED_S / period_s)
    jumps, away = [], []
    for frame, jump in zip(frames, found, strict=True):
        if jump is None:
            continue
        at = round(jump)
        look = look_before(film, frame, period_s).light
        before = light_of(film, at - shown, at).mean(axis=0)
        after = light_of(film, at + scanned + 1, at + scanned + 1 + shown).mean(axis=0)
        jumps.append(((after - before) / idle.sd).ravel())
        away.append(((before - look) / idle.sd).ravel())
    sizes = [float(np.linalg.norm(jump)) for jump in jumps]
    units = [jump / max(size, 1e-9) for jump, size in zip(jumps, sizes, strict=True)]
    common = np.sum(units, axis=0)
    steps = [float(jump @ (common - own)) for jump, own in zip(jumps, units, strict=True)]
    shares = [
        float(gone @ (common - own)) / step
        for gone, own, step in zip(away, units, steps, strict=True)
        if step > 0  # a light that is gone again at once is no step
    ]
    return bool(shares) and abs(float(np.median(shares))) < _UNDER_WAY
