"""The instants of the panel's refreshes, from all that moves in a take.

The whole take's grid tells when the change of a refresh is half over, each frame named by
its start. A fast panel begins half an exposure after that, a slow one sooner, by about its
time constant; how the change of a refresh rises and falls, laid over each other for all
refreshes, tells how much.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.alignment import Course
from blinkspan.onsets.row_changes import RowChanges
from blinkspan.onsets.slides import go_by_ticks, way_of
from blinkspan.onsets.softened import Bands, gathered
from blinkspan.onsets.whole_grid import WholeGrid
from blinkspan.quantities import Measured
from blinkspan.traces.trace import Samples

_PLACES = 80  # of a refresh, over which its change is laid
_RESPONSES_S = np.arange(0.0, 6.01e-3, 0.25e-3)
_BEGINS_S = np.arange(-5e-3, 2.01e-3, 0.1e-3)  # from where a fast panel would begin
_APART_FRAMES = 3.0  # camera frames to a refresh: fewer, and one change runs into the next
_LEAST_U_S = 4e-4  # staged takes
_RUN_TOGETHER = Measured(-3e-4, 8e-4)
_FEWEST = 5  # answers: fewer agree by chance
# How well answers must agree in their place between ticks, 0 to 1; farther than this from it,
# as a share of a tick, one may belong to the next.
_AGREE, _ASTRAY = 0.75, 0.35
_LEAST_OWN_S = 5e-5
_SURE = 1.5  # standard deviations
# About an answer's place, and how many of the first show rest; how far the answer departs from
# what went on before, against the most that rest does and the steepest change.
_TICKS_BEFORE, _TICKS_AFTER, _TICKS_AT_REST = 8, 6, 4
# By how many ticks a press may have been aligned wrongly, how many ticks about the first to show
# tell that, and how much better than any other place the best one has to fit.
_SLACK, _ABOUT, _SURELY_AGREED, _ROUNDS = 2, 3, 1.5, 4
# A press that fits so much worse than most has to be told from its neighbours more clearly; one
# that fits worse by far is none of them wherever it is put. Slides are told from their neighbours
# as clearly.
_ODD, _SURELY_THOUGH_ODD, _FAR_ODD, _SURELY_SLID = 1.5, 3.5, 10.0, 3.0
# So does one whose first tick alone is so unlike the others': a picture of a film behind the game
# that comes a tick before the answer looks like half of it.
_ODD_AT_FIRST, _SURELY_THOUGH_ODD_AT_FIRST = 3.0, 4.0
_MOST_SURE = 0.7  # of the presses: where fewer are, those that seem so are no better
_OVER_CREEP, _OF_STEEPEST = 3.0, 0.08
# A first change nearer to what the scene does by itself, and so much smaller than one of the next
# few, may be the scene's (a change spliced into real film, whose pictures stay some refreshes).
_CLEAR_OF_SCENE, _OF_NEXT, _NEXT_TICKS = 6.0, 0.3, 3
_SLANT_DOUBT = 2.5  # what moves in a few rows only tells a slant worse than it seems


@dataclass(frozen=True, slots=True)
class Ticks:
    """When the panel begins to show new pictures, in the clock of frames.

    Attributes
    ----------
    zero_s : Measured
        One such instant, at ``row_px``.
    period_s : float
    nominal_hz : float
    slant_s_per_px : Measured
        How much later the row below begins.
    row_px : float
    reach_px : float
        From the first to the last row that showed them.
    """

    zero_s: Measured
    period_s: float
    nominal_hz: float
    slant_s_per_px: Measured
    row_px: float
    reach_px: float

    def zero_at(self, row_px: float) -> Measured:
        """Return the instant at another row."""
        return self.zero_s + self.slant_s_per_px * (row_px - self.row_px)


def ticks_of(changes: RowChanges, grid: WholeGrid, exposure: Measured, period_s: float) -> Ticks:
    """Return the panel's ticks.

    Parameters
    ----------
    changes : RowChanges
    grid : WholeGrid
        Found in the same changes.
    exposure : Measured
    period_s : float
        Of the camera's frames.
    """
    tick_s = 1 / grid.refresh_hz.value
    begin = _begin(changes, grid, exposure.value, period_s, tick_s)
    return Ticks(
        grid.zero_s + begin + exposure * 0.5,
        tick_s,
        grid.nominal_hz,
        Measured(grid.slant_s_per_px.value, _SLANT_DOUBT * grid.slant_s_per_px.u),
        grid.row_px,
        float(np.ptp(changes.row_px)),
    )


def _begin(
    changes: RowChanges, grid: WholeGrid, exposure_s: float, period_s: float, tick_s: float
) -> Measured:
    """Return how much later a refresh begins than half an exposure after its change's middle."""
    if tick_s < _APART_FRAMES * period_s:
        return _RUN_TOGETHER
    course = _laid_over(changes, grid, tick_s)
    at = (np.arange(_PLACES) + 0.5) / _PLACES * tick_s - tick_s / 2
    after_s = at - _BEGINS_S[:, None] - exposure_s / 2
    left = [
        _left_over(course, _change_of(after_s, exposure_s, float(response), period_s, tick_s))
        for response in _RESPONSES_S
    ]
    _, place = np.unravel_index(int(np.argmin(left)), (_RESPONSES_S.size, _BEGINS_S.size))
    earliest = float(_BEGINS_S[place])
    # The middle of the change is late for a slow panel, the fit early for a fast one.
    return Measured(earliest / 2, max(_LEAST_U_S, abs(earliest) / 2))


def _laid_over(changes: RowChanges, grid: WholeGrid, tick_s: float) -> Samples:
    """Return the mean change by its place between two refreshes, 0 in the middle."""
    values = changes.tamed / np.maximum(changes.tamed.std(axis=0), 1e-9)
    rows_s = grid.slant_s_per_px.value * (changes.row_px - grid.row_px)
    turns = (changes.at_s[:, None] - grid.zero_s.value - rows_s) / tick_s + 0.5
    place = ((turns % 1.0) * _PLACES).astype(np.intp).ravel() % _PLACES
    count = np.maximum(np.bincount(place, minlength=_PLACES), 1)
    course: Samples = np.bincount(place, values.ravel(), _PLACES) / count
    return course


def _change_of(
    after_s: Samples, exposure_s: float, response_s: float, period_s: float, tick_s: float
) -> Samples:
    """Return how much of a step falls between two frames whose middle comes so long after it."""
    total = np.zeros(after_s.shape)
    for turn in (-tick_s, 0.0, tick_s):
        later, sooner = after_s - turn + period_s / 2, after_s - turn - period_s / 2
        total += gathered(later, exposure_s, response_s) - gathered(sooner, exposure_s, response_s)
    return total


def _left_over(course: Samples, models: Samples) -> Samples:
    """Return what each of some models, shape (n, places), leaves of a course at its best fit."""
    a = models - models.mean(axis=1, keepdims=True)
    b = course - course.mean()
    left: Samples = b @ b - (a @ b) ** 2 / np.maximum((a**2).sum(axis=1), 1e-12)
    return left


@dataclass(frozen=True, slots=True)
class Placed:
    """Answers on the panel's ticks.

    Attributes
    ----------
    begins : tuple of Measured
        In the clock of frames; ``u`` is each press's own, a whole tick where it is in doubt
        which one it is.
    numbers : ndarray of int, shape (presses,)
        Of the ticks, counted from the zero.
    """

    begins: tuple[Measured, ...]
    numbers: npt.NDArray[np.intp]


def place_on_ticks(
    courses: list[Course],
    aligned_s: Samples,
    ticks: Ticks,
    row_px: float,
    below: Bands,
    exposure: Measured,
    *,
    sliding: bool = False,
) -> Placed | None:
    """Return on which tick each answer begins, or None where their places do not agree.

    Answers that are aligned well lie at one place between two ticks, whatever that place is
    on their mean course. The first tick at whose end that course has left its rest is the
    one they begin on.

    Views that slide are aligned less well, by some frames, since how far a slide is read
    depends on what is seen. How far they slide within each tick tells them apart.

    Parameters
    ----------
    courses : one a press
    aligned_s : ndarray, shape (presses,)
        Where the presses lie beside each other.
    ticks : Ticks
    row_px : float
        The row at which the begins are stated.
    below : Bands
        Counted from that row.
    exposure : Measured
    sliding : bool
        Whether the courses say how far the view has slid.
    """
    tick_s, zero = ticks.period_s, ticks.zero_at(row_px)
    if aligned_s.size < _FEWEST:
        return None
    agreeing = concentration(aligned_s, tick_s) >= _AGREE
    if not agreeing and not sliding:
        return None
    turns = (aligned_s - zero.value) / tick_s
    place = float(np.angle(np.exp(2j * np.pi * turns).mean())) / (2 * np.pi)
    numbers = np.rint(turns - place).astype(np.intp)
    slant = ticks.slant_s_per_px.value
    # So long before the next tick a frame has to begin, to see nothing of it for sure.
    clear_s = exposure.value + exposure.u + _SURE * (zero.u + slant * below.spread_px)
    nexts_s = np.asarray(zero.value + tick_s * (numbers + 1), np.float64)
    shown = _at_ticks(courses, nexts_s.tolist(), tick_s, slant * below.row_px - clear_s)
    if sliding:
        way = way_of(shown)
        if not agreeing and not go_by_ticks(courses, nexts_s, way, tick_s, slant * below.row_px):
            return None
        shown = (shown.mean(axis=2) @ way)[..., None, None]
    middle = np.median(shown, axis=0)
    first = first_to_show(middle)
    if first is None or not _ABOUT + _SLACK <= first <= shown.shape[1] - _ABOUT - _SLACK:
        return None
    if not sliding and _may_be_the_scenes(middle, first):
        return None
    if sliding:  # what was slid before the answer says nothing
        shown = np.diff(shown, axis=1, prepend=0.0)
    moved, sure, odd = _agreed(shown, first, _SURELY_SLID if sliding else _SURELY_AGREED)
    if np.mean(sure) < _MOST_SURE:
        return None
    numbers = numbers + moved + first - _TICKS_BEFORE - _SLACK
    astray = ~sure | odd
    if agreeing:
        away = np.abs(turns - place - np.rint(turns - place))
        astray |= (moved != 0) | (away > _ASTRAY)
    begins_s = zero.value + tick_s * numbers
    own_s = np.where(astray, tick_s, _LEAST_OWN_S)
    return Placed(tuple(map(Measured, begins_s.tolist(), own_s.tolist())), numbers)


def begin_elsewhere(
    courses: list[Course], begins_s: Samples, frame_s: float, rows_s: Samples, clear_s: float
) -> npt.NDArray[np.bool_]:
    """Tell which answers are surely more like most where they are put in another game frame.

    By how much they change within each of the game frames about it. Shape (presses,).

    Parameters
    ----------
    courses : one a press
    begins_s : ndarray, shape (presses,)
    frame_s : float
        How long a game frame stays.
    rows_s : ndarray, shape (bands,)
        How much later each band of rows shows it.
    clear_s : float
        So long before the next game frame a camera frame has to begin, to see nothing of it.
    """
    shown = _at_ticks(courses, (begins_s + frame_s).tolist(), frame_s, rows_s - clear_s)
    changes = np.diff(shown, axis=1, prepend=0.0)
    moved, sure, _ = _agreed(changes, _TICKS_BEFORE + _SLACK, _SURELY_AGREED)
    elsewhere: npt.NDArray[np.bool_] = sure & (moved != 0)
    return elsewhere


def _at_ticks(
    courses: list[Course], nexts_s: list[float], tick_s: float, rows_s: Samples
) -> Samples:
    """Return each press's features at ticks about its answer, (presses, ticks, bands, features).

    Each tick is seen in the last frame that shows its picture and nothing of the next one,
    which comes at ``nexts_s``, every band of rows at its own time.
    """
    reach = np.arange(-_TICKS_BEFORE - _SLACK, _TICKS_AFTER + _SLACK + 1)
    offsets_s: Samples = tick_s * reach.astype(np.float64)
    shown = np.stack(
        [
            _last_of(course, at + offsets_s, rows_s)
            for course, at in zip(courses, nexts_s, strict=True)
        ]
    )
    rest: Samples = shown[:, :_TICKS_AT_REST].mean(axis=1, keepdims=True)
    return shown - rest


def _agreed(
    shown: Samples, first: int, surely: float
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Return by how many ticks each press has to move to agree best, and whether that is sure.

    And whether a press agrees so badly even then that it is not to be trusted.
    """
    about = np.arange(first - _ABOUT, first + _ABOUT)
    moves = np.arange(-_SLACK, _SLACK + 1)
    moved = np.zeros(shown.shape[0], np.intp)
    for _ in range(_ROUNDS):
        middle = np.median([each[about + k] for each, k in zip(shown, moved, strict=True)], axis=0)
        away = shown[:, about + moves[:, None]] - middle
        by_tick = (away**2).sum(axis=(3, 4))
        misfits = by_tick.sum(axis=2)
        best = moves[np.argmin(misfits, axis=1)]
        if np.array_equal(best, moved):
            break
        moved = best
    left, next_best = np.sort(misfits, axis=1)[:, :2].T
    usual = np.median(left)
    odd = (left > _ODD * usual) & (next_best < _SURELY_THOUGH_ODD * left)
    odd |= left > _FAR_ODD * usual
    at_first = by_tick[np.arange(moved.size), moved + _SLACK, _ABOUT]
    unlike = at_first > _ODD_AT_FIRST * np.median(at_first)
    odd |= unlike & (next_best < _SURELY_THOUGH_ODD_AT_FIRST * left)
    return moved, next_best > surely * left, odd


def first_to_show(course: Samples) -> int | None:
    """Return at which of the ticks of a mean course its answer begins to show.

    A scene that drifts goes on as it went: it is what departs from that which tells.
    """
    change, departed = np.diff(course, axis=0), _departed(course)
    creep = float(departed[:_TICKS_AT_REST].max())
    steepest = float(np.sqrt((change**2).sum(axis=(1, 2))).max())
    least = max(_OVER_CREEP * creep, _OF_STEEPEST * steepest, 1e-9)
    jumps = np.flatnonzero(departed > least)
    return int(jumps[0]) + 2 if jumps.size else None


def _may_be_the_scenes(course: Samples, first: int) -> bool:
    """Tell whether the first tick to show may be a change of a lively scene before the answer.

    A film behind the game strays ever farther from the look before, and a new picture of it
    that comes just before most answers departs like a faint first game frame.
    """
    departed = _departed(course)
    creep, here = float(departed[: first - 2].max()), float(departed[first - 2])
    following = float(departed[first - 1 : first - 1 + _NEXT_TICKS].max())
    return here < _CLEAR_OF_SCENE * creep and here < _OF_NEXT * following


def _departed(course: Samples) -> Samples:
    """Return how far a course departs from what went on before, from its second change on."""
    change = np.diff(course, axis=0)
    return np.array(
        [
            np.linalg.norm(change[at] - change[max(0, at - _TICKS_AT_REST) : at].mean(axis=0))
            for at in range(1, change.shape[0])
        ]
    )


def _last_of(course: Course, until_s: Samples, rows_s: Samples) -> Samples:
    """Return each band's features in the last frame begun by some times.

    Shape (times, bands, features).
    """
    at = np.searchsorted(course.start_s, until_s[:, None] + rows_s, side="right") - 1
    at = np.clip(at, 0, course.start_s.size - 1)
    found: Samples = course.values[at, np.arange(rows_s.size)]
    return found


def concentration(at_s: Samples, tick_s: float) -> float:
    """Return how well instants agree in their place between two ticks, 0 to 1.

    The mean resultant length of K. V. Mardia and P. E. Jupp, *Directional Statistics*
    (2000), 2.3.
    """
    return float(abs(np.exp(2j * math.pi * at_s / tick_s).mean()))
