"""How this action answers: the picture it changes into, learnt over the take's presses.

Averaging over presses, locked to the first change of each, leaves what the
action does and fades what the scene does by itself. From it come a few numbers
per frame and row band (``features``): how far the picture has gone towards the
first look of the answer, towards its later look, how far it has slid sideways
and down (small motion, by the gradient method), and how unlike the look before
it is in whatever way: answers that never look the same twice, such as turning
the view, still agree in that.

References
----------
B. D. Lucas and T. Kanade, "An iterative image registration technique with an
application to stereo vision", IJCAI 1981, 674-679: small shifts are linear in
the picture's own gradients.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.idle import Idle, strayed
from blinkspan.onsets.look import Frame, Light, Look, change_since
from blinkspan.traces.reduction import Film
from blinkspan.traces.trace import Samples

_BANDS = 8
# A feature of independent cells strays by 1; far below that is too few moments, not calm.
_LEAST_SD = 0.3
_LEAST_UNLIKE = 0.03  # of a mean over hundreds of cells, in the same unit
_STRONG = 0.35  # of the largest change
# Rows are turned where they then agree so many times better than chance, which leaves 1 in the
# number of rows; or by this share, where rows are few.
_TURNED_OVER_CHANCE, _TURNED = 3.0, 0.6

FEATURES, UNLIKE = 5, 4  # how many, and the place of the one that has no sign
LOOKS = 2  # the first ones are ways towards a look
Features = npt.NDArray[np.float64]  # shape (frames, bands, FEATURES)


@dataclass(frozen=True, slots=True)
class Change:
    """Where one press's answer can be seen: frame ranges (first, stop) and the look before it."""

    before: Look
    first: tuple[Frame, Frame]
    later: tuple[Frame, Frame]


@dataclass(frozen=True, slots=True)
class Pattern:
    """What to look for in the watched region.

    Attributes
    ----------
    first, later : ndarray, shape (rows, columns)
        Change of each cell in idle units; zero where the action changes nothing.
    bands : tuple of (first row, stop row)
    row_px, row_spread_px : ndarray, shape (bands,)
        Where in the picture each band's change sits, and its standard deviation.
    idle_sd : ndarray, shape (bands, FEATURES)
        How much each feature strays when nothing is pressed.
    first_light : float
        How much light the cells of the first look gain or lose, as a mean; 0 to 1.
    """

    first: Light
    later: Light
    bands: tuple[tuple[int, int], ...]
    row_px: Samples
    row_spread_px: Samples
    idle_sd: Samples
    first_light: float
    looks_only: bool = False


def learn_pattern(
    film: Film,
    row_px: Samples,
    idle: Idle,
    changes: list[Change],
    *,
    looks_only: bool = False,
) -> Pattern:
    """Return the action's pattern.

    Parameters
    ----------
    film : ndarray of uint16, shape (n, rows, columns)
    row_px : ndarray, shape (rows,)
    idle : Idle
    changes : list of Change
        At least one.
    looks_only : bool
        Whether all presses are known to change the picture alike.
    """
    firsts = [difference(film, change.before, change.first, idle) for change in changes]
    laters = [difference(film, change.before, change.later, idle) for change in changes]
    signs = common_signs(np.stack(laters).reshape(len(changes), -1))
    firsts = [sign * first for sign, first in zip(signs, firsts, strict=True)]
    laters = [sign * later for sign, later in zip(signs, laters, strict=True)]
    whole = clear_of_noise(np.median(np.stack(firsts), axis=0).astype(np.float32))
    first = strong_cells(whole, idle)
    later = clear_of_noise(np.median(np.stack(laters), axis=0).astype(np.float32))
    bands = tuple(
        (int(r[0]), int(r[-1]) + 1)
        for r in np.array_split(np.arange(first.shape[0]), min(_BANDS, first.shape[0]))
    )
    weight = _row_weights(whole, first, later, bands)
    middle = np.array([np.average(row_px[a:b], weights=weight[a:b]) for a, b in bands])
    row_height = float(row_px[1] - row_px[0]) if row_px.size > 1 else 0.0
    spread = np.array(
        [
            (np.average((row_px[a:b] - m) ** 2, weights=weight[a:b]) + row_height**2 / 12) ** 0.5
            for (a, b), m in zip(bands, middle, strict=True)
        ]
    )
    change = np.abs(first * idle.sd)[first != 0]
    light = float(change.mean()) if change.size else 0.0
    ones = np.ones((len(bands), FEATURES))
    bare = Pattern(first, later, bands, middle, spread, ones, light, looks_only)
    reach = idle.moments.reach
    strays = [
        features(film, m, m + reach, look, idle, bare)
        for m, look in zip(idle.moments.frames, idle.looks, strict=True)
    ]
    stray = np.concatenate(strays)
    stray[..., UNLIKE] -= stray[..., UNLIKE].mean(axis=0)  # no picture is wholly like another
    sd = np.sqrt(np.mean(stray**2, axis=0))
    return replace(bare, idle_sd=np.maximum(sd, [_LEAST_SD] * UNLIKE + [_LEAST_UNLIKE]))


def features(
    film: Film, first: Frame, stop: Frame, before: Look, idle: Idle, pattern: Pattern
) -> Features:
    """Return five numbers a band and frame, in idle standard deviations.

    Shape (m, bands, FEATURES), in order: towards the first look, towards the
    later look (what the first does not explain), sideways, down, unlike before.
    """
    stop = min(stop, film.shape[0])
    seen = before.light
    down, sideways = np.gradient(seen) if min(seen.shape) > 1 else (0 * seen, 0 * seen)
    maps = np.stack([pattern.first, pattern.later, sideways / idle.sd, down / idle.sd])
    width = seen.shape[1]
    bands = [slice(a * width, b * width) for a, b in pattern.bands]
    units = _units(maps.reshape(UNLIKE, -1).astype(np.float64), bands)
    out = np.empty((stop - first, len(pattern.bands), FEATURES))
    for frames, z in strayed(film, first, stop, before, idle):
        for k, band in enumerate(bands):
            cells = z[:, band]
            out[frames, k, :UNLIKE] = cells @ units[band]
            out[frames, k, UNLIKE] = np.vecdot(cells, cells) / cells.shape[1]
    out[..., UNLIKE] = np.sqrt(out[..., UNLIKE])
    out /= pattern.idle_sd
    if pattern.looks_only:
        out[..., LOOKS:] = 0.0
    return out


def common_signs(changes: npt.NDArray[np.floating]) -> list[int]:
    """Return +1 or -1 a row, so that the rows agree best: a menu opens and shuts by turns.

    The signs of the first principal direction of the rows; most are +1. Pictures that
    never look the same twice (a view that turns) have no such direction: chance would
    give them signs, so that all are +1 unless turning makes the rows agree.
    """
    rows = changes.astype(np.float64)
    gram = rows @ rows.T
    _, directions = np.linalg.eigh(gram)
    signs = np.where(directions[:, -1] < 0, -1, 1)
    if signs.sum() < 0:
        signs = -signs
    length = np.sqrt(np.maximum(np.diag(gram), 1e-12))
    alike = gram / np.outer(length, length)
    n = signs.size
    turned, plain = float(signs @ alike @ signs) / n**2, float(alike.sum()) / n**2
    if turned < max(plain, min(_TURNED_OVER_CHANCE / n, _TURNED)):
        return [1] * n
    return [int(sign) for sign in signs]


def difference(film: Film, before: Look, frames: tuple[Frame, Frame], idle: Idle) -> Light:
    """Return how far a stretch of frames is, as a mean, from a look before, in idle units."""
    stop = min(frames[1], film.shape[0])
    first = min(frames[0], stop - 1)
    change: Light = change_since(film, first, stop, before).mean(axis=0) / idle.sd
    return change


def _units(maps: Samples, bands: list[slice]) -> Light:
    """Return maps of unit length in each band, the first one's part taken from the others.

    Shape (cells, maps), from (maps, cells).
    """
    firsts = [band.start for band in bands]
    cells = [band.stop - band.start for band in bands]

    along_first = np.add.reduceat(maps * maps[0], firsts, axis=1)
    power, common = along_first[0], along_first[1:]
    share = np.divide(common, power, out=np.zeros_like(common), where=power > 0)
    maps[1:] -= np.repeat(share, cells, axis=1) * maps[0]
    length = np.sqrt(np.add.reduceat(maps * maps, firsts, axis=1))
    scale = np.divide(1.0, length, out=np.zeros_like(length), where=length > 1e-6)
    columns: Light = (maps * np.repeat(scale, cells, axis=1)).T.astype(np.float32)
    return columns


def _row_weights(
    whole: Light, first: Light, later: Light, bands: tuple[tuple[int, int], ...]
) -> Samples:
    """Return how much each row counts in what its band shows of the first look.

    ``whole`` is that look with all its cells: the weak ones, which the first map leaves out,
    show in the later one.
    """
    width = whole.shape[1]
    units = _units(
        np.stack([first, later]).reshape(2, -1).astype(np.float64),
        [slice(a * width, b * width) for a, b in bands],
    )
    seen = units.reshape(*whole.shape, 2) * whole[..., None]
    rows = seen.sum(axis=1)
    weight = np.full(whole.shape[0], 1e-9)
    for a, b in bands:
        weight[a:b] += np.maximum(rows[a:b] @ rows[a:b].sum(axis=0), 0.0)
    return weight


def strong_cells(first: Light, idle: Idle) -> Light:
    """Keep the cells that change most in light.

    An encoder drops small differences between frames, so that a cell of little
    change reads as not yet or wholly changed where it is half way.
    """
    change = np.abs(first * idle.sd)
    changed = change[change > 0]
    if changed.size == 0:
        return first
    strong: Light = np.where(change >= _STRONG * np.percentile(changed, 98), first, 0.0)
    return strong


def clear_of_noise(change: Light) -> Light:
    """Shrink every cell by what chance alone leaves in the average, so that few cells speak."""
    chance = 1.4826 * float(np.median(np.abs(change)))
    shrunk: Light = np.sign(change) * np.maximum(np.abs(change) - min(chance, 1.5), 0.0)
    return shrunk
