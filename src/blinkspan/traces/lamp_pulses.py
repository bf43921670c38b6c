"""Where in the small film a small spot lights up at once, stays lit and goes dark at once.

A lamp's edge takes a frame or two, and it rests at one level before and after.
Movement, particles and mains flicker change step by step or to and fro; the
screen's own flashes mostly fade or are wide. What passes here is still only a
candidate: a button drawn on the screen may blink just like a lamp.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter, uniform_filter

from blinkspan.traces.survey import Film, Survey
from blinkspan.traces.trace import Samples

_REST_S = 0.025  # the levels before and after an edge are means over this
_LEAST_STEP = 5.0  # 8-bit codes of a cell over its surround; encoder noise stays below
_SHARP = 0.55  # of the step within two frames; a steady ramp of _REST_S each way has 0.3
_HOLD_S = (0.025, 8.0)  # common practice: a tap is 50 ms or more, nobody holds on longer
_NEAR_CELLS = 2
_ALIKE = 1.7  # a lamp goes out by what it lit up, but for the encoder and the hand's shadow
_MOST_EDGES = 20_000  # the steadiest; more only where the whole picture boils
_FIRST_FRAMES = 2  # of a level: enough for a start that is taken off again later
_CHUNK = 512  # frames worked on at once

Numbers = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Edges:
    """Sudden small changes in order of time; all arrays of shape (n,).

    Attributes
    ----------
    frame : ndarray of int
        The frame in which the change happens.
    row, column : ndarray of int
        The cell where it is strongest.
    step : ndarray of float
        Change in 8-bit codes against the surround; below zero where it goes dark.
    """

    frame: Numbers
    row: Numbers
    column: Numbers
    step: Samples


@dataclass(frozen=True, slots=True)
class Pulse:
    """A small spot lit from one edge to another.

    Attributes
    ----------
    on, off : int
        Frames in which it lights up and goes dark.
    row, column : int
        The cell of the small film.
    step : float
        How much brighter it is, in codes of a 5 x 5 block of cells.
    scatter : float
        Standard deviation of its two levels, in steps.
    """

    on: int
    off: int
    row: int
    column: int
    step: float
    scatter: float


def lamp_pulses(survey: Survey) -> list[Pulse]:
    """Return every pulse of a small spot, in order of time. Cost is linear in cells and frames."""
    edges = find_edges(survey.film, rest_frames(survey))
    rises, falls = np.flatnonzero(edges.step > 0), np.flatnonzero(edges.step < 0)
    shortest, longest = (survey.frames_in(hold) for hold in _HOLD_S)
    fall_frames = edges.frame[falls]
    pulses = []
    for rise in rises.tolist():
        first = np.searchsorted(fall_frames, edges.frame[rise] + max(2, shortest))
        last = np.searchsorted(fall_frames, edges.frame[rise] + longest)
        near = falls[first:last]
        ratio = -edges.step[near] / edges.step[rise]
        fits = (
            (np.abs(edges.row[near] - edges.row[rise]) <= _NEAR_CELLS)
            & (np.abs(edges.column[near] - edges.column[rise]) <= _NEAR_CELLS)
            & (ratio > 1 / _ALIKE)
            & (ratio < _ALIKE)
        )
        if fits.any():
            fall = near[int(np.argmax(fits))]
            pulses.append(_pulse(survey, edges, rise, int(fall)))
    return [pulse for pulse in pulses if pulse is not None]


def rest_frames(survey: Survey) -> int:
    """Return over how many frames a level before or after an edge is taken."""
    return min(24, max(2, survey.frames_in(_REST_S)))


def find_edges(film: Film, rest: int) -> Edges:
    """Return all sudden small changes of the film, levels taken over ``rest`` frames each side."""
    table = np.concatenate([np.zeros((0, 4)), *_edges_by_chunk(film, rest)])
    whole = table[:, :3].astype(np.intp)
    edges = Edges(whole[:, 0], whole[:, 1], whole[:, 2], table[:, 3])
    return edges if len(table) <= _MOST_EDGES else _steadiest(film, edges, rest)


def _steadiest(film: Film, edges: Edges, rest: int) -> Edges:
    """Return the edges whose levels before and after keep stillest for their step."""
    around = edges.frame[:, None] + np.arange(-rest, rest + 1)
    level = film[around, edges.row[:, None], edges.column[:, None]].astype(np.float32)
    unrest = (level[:, :rest].var(axis=1) + level[:, rest + 1 :].var(axis=1)) / edges.step**2
    kept = np.sort(np.argsort(unrest)[:_MOST_EDGES])
    return Edges(edges.frame[kept], edges.row[kept], edges.column[kept], edges.step[kept])


def _edges_by_chunk(film: Film, rest: int) -> Iterator[Samples]:
    n = film.shape[0]
    for begin in range(rest, n - rest, _CHUNK):
        end = min(n - rest, begin + _CHUNK)
        # levels need one rest on each side, and so does the choice of the strongest in time
        first, stop = max(rest, begin - rest), min(n - rest, end + rest)
        light = film[first - rest : stop + rest].astype(np.float32)
        sums = np.concatenate([np.zeros((1, *light.shape[1:]), np.float32), light.cumsum(axis=0)])
        count = stop - first
        before = sums[rest : rest + count] - sums[:count]
        after = sums[2 * rest + 1 :][: count - 1] - sums[rest + 1 :][: count - 1]
        step = (after - before[:-1]) / rest
        at_once = light[rest + 1 :][: count - 1] - light[rest - 1 :][: count - 1]
        over = step - _surround(step)
        size = np.abs(over)
        found = (size >= _LEAST_STEP) & (at_once * step > _SHARP * step**2) & (step * over > 0)
        found &= size >= maximum_filter(size, (2 * rest + 1, 3, 3))
        t, row, column = np.nonzero(found)
        kept = (t + first >= begin) & (t + first < end)
        strength = over[t, row, column]
        yield np.column_stack([t + first, row, column, strength])[kept]


def _surround(step: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return the mean of the ring two to three cells away from each cell."""
    wide = uniform_filter(step, (0, 7, 7))
    near = uniform_filter(step, (0, 5, 5))
    ring: npt.NDArray[np.float32] = (49 * wide - 25 * near) / 24
    return ring


def _pulse(survey: Survey, edges: Edges, rise: int, fall: int) -> Pulse | None:
    """Return the pulse between two edges, or None where its light does not rest at two levels."""
    on, off = int(edges.frame[rise]), int(edges.frame[fall])
    row, column = int(edges.row[rise]), int(edges.column[rise])
    rest = rest_frames(survey)
    if not _stays(survey.film, row, column, on, off, rest):
        return None
    level = spot_level(survey.film, row, column, on - rest, off + rest + 1)
    dark = np.concatenate([level[:rest], level[-rest:]])
    lit = level[rest + 1 : -rest - 1]
    low, high = float(np.median(dark)), float(np.median(lit))
    step = high - low
    if step <= 0 or np.percentile(lit, 10) < low + step / 2 or dark.max() > low + step / 2:
        return None
    scatter = float(np.hypot(np.std(dark), np.std(lit))) / step
    return Pulse(on, off, row, column, step, scatter)


def _stays(film: Film, row: int, column: int, on: int, off: int, rest: int) -> bool:
    """Whether the place stays bright between two edges: cheap, and settles most of what moves."""
    wide, near = (
        film[on - rest : off, max(0, row - r) : row + r + 1, max(0, column - r) : column + r + 1]
        for r in (3, 2)
    )
    # against the surround, or the room's flicker would count
    level = near.mean(axis=(1, 2)) - wide.mean(axis=(1, 2))
    half_way = (level[:rest].mean() + level[rest + 1 : 2 * rest + 1].mean()) / 2
    return bool(np.mean(level[rest + 1 :] > half_way) >= 0.9)


def spot_level(film: Film, row: int, column: int, first: int, stop: int) -> Samples:
    """Return how far the 5 x 5 cells around a cell rose over their surround, frame by frame.

    Counted from the first of the frames on. The surround's median leaves a
    neighbour out that blinks by itself, such as the screen.
    """
    top, left = max(0, row - 3), max(0, column - 3)
    part = film[first:stop, top : row + 4, left : column + 4].astype(np.float32)
    part -= part[:_FIRST_FRAMES].mean(axis=0)
    rows = np.abs(np.arange(top, top + part.shape[1]) - row) <= 2
    columns = np.abs(np.arange(left, left + part.shape[2]) - column) <= 2
    inside = np.outer(rows, columns)
    flat = part.reshape(part.shape[0], -1)
    level = flat[:, inside.ravel()].mean(axis=1) - np.median(flat[:, ~inside.ravel()], axis=1)
    return np.asarray(level, np.float64)
