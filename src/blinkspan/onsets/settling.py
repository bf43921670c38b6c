"""Is the answer where it was aligned, or a game frame or two away?

Alignment slides a course by where it leaves its rest, and what the scene does by
itself at that moment can pull it off by a game frame. Held against the whole course
over a fixed stretch of film, the right place fits clearly better than its neighbours.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.alignment import Course, Fit, Template, fit_at, laid_over, mean_course
from blinkspan.traces.trace import Samples

_REACH_GAME_FRAMES = 4.0
_REST_S, _TAIL_S = 0.040, 0.030  # film before and after all places tried
_LEAST_GAIN, _MOST_GAIN = 0.5, 1.6
_STEPS_A_FRAME = 2
_HERE = 0.8  # of a game frame: nearer than this it is the same place
_BETTER = 0.9  # of the misfit here: another place is taken
_ROUNDS = 2
_FEWEST_SAMPLES = 4
# A neighbour is a rival where it fits nearly as well as the place itself, and much more nearly
# than with the other presses; or where little fits this press at all (staged takes).
_RIVAL, _RIVAL_OF_USUAL = 1.1, 0.9
_ODD, _RIVAL_OF_ODD = 3.0, 1.4


@dataclass(frozen=True, slots=True)
class Settled:
    """Where one press's answer settled, and whether another place stays nearly as good."""

    fit: Fit
    contested: bool


def settle(
    courses: list[Course],
    fits: list[Fit],
    earliest_s: list[float],
    template: Template,
    game_frame_s: float,
    period_s: float,
    may_move: Sequence[bool] | None = None,
) -> tuple[Template, list[Settled]]:
    """Return the template and each press's fit, moved by whole game frames where that fits better.

    Parameters
    ----------
    courses, fits : one a press
    earliest_s : list of float
        Before this no answer of the press can lie.
    template : Template
    game_frame_s, period_s : float
    may_move : sequence of bool, optional
        Which presses may; all, where nothing else tells their places.
    """
    at = np.array([fit.at_s for fit in fits])
    may_move = [True] * at.size if may_move is None else may_move
    # The mean course has to be known for as long as any place tried leaves of the film.
    until_s = 2 * _REACH_GAME_FRAMES * game_frame_s + _TAIL_S
    whole = mean_course(courses, at, period_s, until_s=until_s)
    for _ in range(_ROUNDS):
        moved = at.copy()
        for k, course in enumerate(courses):
            shifts, misfit, here = _misfits(course, whole, at[k], earliest_s[k], game_frame_s)
            if may_move[k] and not here.all() and misfit.min() < _BETTER * misfit[here].min():
                moved[k] += shifts[int(np.argmin(misfit))]
        if np.array_equal(moved, at):
            break
        at = moved
        template = mean_course(courses, at, period_s, alike=template.alike)
        whole = mean_course(courses, at, period_s, until_s=until_s)
    ratios, left = np.ones(at.size), np.ones(at.size)
    for k, course in enumerate(courses):
        _, misfit, here = _misfits(course, whole, at[k], earliest_s[k], game_frame_s)
        left[k] = misfit[here].min()
        ratios[k] = np.inf if here.all() else misfit[~here].min() / max(left[k], 1e-12)
    rival = np.minimum(_RIVAL, _RIVAL_OF_USUAL * float(np.median(ratios)))
    odd = (left > _ODD * float(np.median(left))) & (ratios < _RIVAL_OF_ODD)
    contested = (ratios < rival) | odd
    return template, [
        Settled(fit_at(course, template, float(t)), bool(c))
        for course, t, c in zip(courses, at, contested, strict=True)
    ]


def _misfits(
    course: Course, template: Template, at_s: float, earliest_s: float, game_frame_s: float
) -> tuple[Samples, Samples, npt.NDArray[np.bool_]]:
    """Return shifts, the misfit left at each, and which shifts are hardly any."""
    reach = _REACH_GAME_FRAMES * game_frame_s
    stretch = (course.start_s >= at_s - reach - _REST_S) & (
        course.start_s <= at_s + reach + _TAIL_S
    )
    if stretch.sum() < _FEWEST_SAMPLES:  # aligned off the end of the film: it stays there
        return np.zeros(1), np.zeros(1), np.ones(1, np.bool_)
    times, data = course.start_s[stretch], course.values[stretch]
    rest = times < times[0] + _REST_S * 0.75
    data = data - data[rest].mean(axis=0)
    step = float(np.median(np.diff(times))) / _STEPS_A_FRAME
    shifts = step * np.arange(-round(reach / step), round(reach / step) + 1)
    here = np.abs(shifts) < _HERE * game_frame_s
    may = here | (at_s + shifts >= earliest_s)
    shifts, here = shifts[may], here[may]
    along, power = laid_over(template, data, times - at_s - shifts[:, None])
    gain = np.clip(along / np.maximum(power, 1e-12), _LEAST_GAIN, _MOST_GAIN)
    misfit: Samples = (data**2).sum() - 2 * gain * along + gain**2 * power
    return shifts, misfit, here
