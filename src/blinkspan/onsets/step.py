"""The instant the panel begins to show the answer, far below a frame.

A panel answers a new game frame with a step, softened by its own response, and
each exposure averages what falls into it. The step all presses share is fitted
once over all of them (``joint``); where their begins lie on the panel's refresh
grid, they are fitted again as ticks of it. In the clock of frames a row ``y``
answers ``slant * (y - y0)`` later than row ``y0``: the scan-out runs down the
panel, less the camera's own readout.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.alignment import Course, Fit, Template
from blinkspan.onsets.grid import Grid, fit_grid
from blinkspan.onsets.joint import EXPOSURE_DOUBT, TOLD_FRAMES, Joint, Known, Solution
from blinkspan.onsets.softened import Bands, doubt_of, gathered_in_band
from blinkspan.onsets.ticks import Ticks, concentration, place_on_ticks
from blinkspan.quantities import Measured
from blinkspan.traces.trace import Samples

_PLACES_A_FRAME = 100
_REACH_FRAMES = 1.5
_RESTING = 0.3  # of the template's time before zero: by then no answer has begun
_OVER_CREEP, _OF_STEEPEST = 3.0, 0.05  # a jump, against the steepest creep and the steepest rise
_ROUNDS = 3
# Where the samples stray so far from a grid, and hardly from begins of their own, pictures come
# about evenly but not on the ticks of a clock (a program drawing by itself).
_NO_TICKS, _NO_TICKS_OF_FREE = 1.5, 2.0
_AT_AN_END = 0.05  # of a placement's chance
_SLANT_AWAY = 2.0  # standard doubts: a slant farther off is no scan's
# Where a search is begun anew, in frames from where the answers seem to depart; the share of the
# first one's cost that another end may have to count, and how far off it may be.
_BESIDE_FRAMES, _FAR_BETTER, _SAME_STEP_FRAMES = (-0.5, 0.5), 0.5, 0.9
# Response times from which a search is begun; the share of the first one's cost that the other
# end may have to count.
_FAST_S, _SLOW_S, _BETTER = 0.0005, 0.004, 0.9
SPREADS = 1.5  # times as coarse as good film: films so encoded show what comes before it does
_IN_STEP = 0.5  # of all begins at one place between two frames: the course is seen in few parts
_PULSED = 2.0  # standard doubts by which an exposure that the panel shows falls short
_HARDLY_TOLD = 0.3  # of a frame: answers with a grid of their own this uncertain give way to ticks
_STEP_DOUBT = 0.02  # of a frame: what encoding shifts all begins by (staged takes)
_RESPONSE_DOUBT = 0.1  # of the panel's time constant: a single exponential is a model
_COURSES_A_HOLD = 5.0  # time constants in a game frame that show the whole of a panel's course


@dataclass(frozen=True, slots=True)
class Step:
    """The step all presses share, and when it begins for each.

    Attributes
    ----------
    row_px : float
        The row at which instants are stated.
    begins : tuple of Measured
        In the clock of frames; ``u`` is each press's own.
    shared_u_s : float
        Standard uncertainty of all these instants together.
    grid : Grid | None
        The refresh grid that the begins lie on, where they do.
    response_s : float
        Time constant of the panel; 0 where it is too fast to see.
    slant_s_per_px, exposure_s : Measured
    wanted_exposure_s : Measured
        What the answers would have for the exposure, whatever the lamp tells.
    direction : ndarray, shape (bands, FEATURES)
        The features' first look in each band, unit length.
    strength : ndarray, shape (bands,)
        Step height per band in idle standard deviations; 0 where unseen.
    on_ticks : bool
        Whether the begins are the panel's ticks, which all that moves in the take shows.
    """

    row_px: float
    begins: tuple[Measured, ...]
    shared_u_s: float
    grid: Grid | None
    response_s: float
    slant_s_per_px: Measured
    exposure_s: Measured
    wanted_exposure_s: Measured
    direction: Samples
    strength: Samples
    on_ticks: bool = False


def fit_step(
    courses: list[Course],
    fits: list[Fit],
    template: Template,
    bands: Bands,
    row_px: float,
    known: list[Known],
    rates_hz: list[float],
    at_once: Known | None = None,
    ticks: Ticks | None = None,
    *,
    sliding: bool = False,
) -> Step | None:
    """Return the step all presses share, or None where their answers never rise like one.

    Parameters
    ----------
    courses, fits : one each a press, at least one
    template : Template
    bands : Bands
    row_px : float
        The row at which the step is stated.
    known : list of Known
        What may be known beforehand; the one that fits best wins.
    rates_hz : list of float
        Refresh rates the panel may have.
    at_once : Known, optional
        Tried as well where the slant turns out as none of ``known``: all rows change together.
    ticks : Ticks, optional
        The panel's refreshes, from all that moves in the take; answers that tell their own
        begins less well are put on them.
    sliding : bool
        Whether the courses say how far the view has slid.
    """
    below = bands.below(row_px)
    departure = first_departure(template, known[0].period_s)
    if departure is None:
        return None
    aligned = np.array([fit.at_s for fit in fits])
    tries = [_free(courses, aligned, template, departure, below, each) for each in known]
    if at_once is not None and not any(_as_known(free) for free in tries):
        other = _free(courses, aligned, template, departure, below, at_once)
        # Over a lively scene, which makes answers unlike each other, all slants fit about as badly.
        far_better = other[0].cost < _FAR_BETTER * min(each.cost for each, _ in tries)
        if template.alike or far_better:
            tries.append(other)
    free, problem = min(tries, key=lambda pair: pair[0].cost)
    if not (free.heights > 0).any():
        return None
    step = _by_themselves(courses, free, problem, row_px, rates_hz)
    period_s = problem.known.period_s
    hardly = step.grid is None or step.shared_u_s > _HARDLY_TOLD * period_s
    # Answers unlike each other agree by what the scene does by itself, if they do; a view that
    # gathers speed makes no step of its own.
    if ticks is not None and (hardly or sliding) and template.alike:
        ticked = _on_ticks(courses, aligned, free, problem, row_px, ticks, sliding)
        step = step if ticked is None else ticked
    return step


def step_on_numbers(
    courses: list[Course],
    numbers: npt.NDArray[np.intp],
    direction: Samples,
    bands: Bands,
    row_px: float,
    known: Known,
    ticks: Ticks,
) -> Step:
    """Return the step of answers of which it is known on which of the panel's ticks they begin.

    Parameters
    ----------
    courses : one a press
    numbers : ndarray of int, shape (presses,)
        Of the ticks, counted from the ticks' zero.
    direction : ndarray, shape (bands, FEATURES)
        The features' first look in each band; its length is the height expected.
    bands : Bands
    row_px : float
        The row at which the step is stated.
    known : Known
    ticks : Ticks
        Where the search for their instants begins.
    """
    # All brought to the first one's tick, the ticks' period being known better than answers tell.
    later_s = ticks.period_s * (numbers - numbers[0])
    aligned = [
        replace(course, start_s=course.start_s - later)
        for course, later in zip(courses, later_s.tolist(), strict=True)
    ]
    together = np.ones((numbers.size, 1))
    here = np.array([ticks.zero_at(row_px).value + ticks.period_s * float(numbers[0])])
    shared = np.array([_FAST_S, known.slant_s_per_px.value, known.exposure_s.value])
    for _ in range(_ROUNDS):  # which samples count depends on where the step begins
        problem = Joint(aligned, together @ here, direction, bands.below(row_px), known)
        bound = problem.solve_firmly(together, here, shared)
        here = bound.begins_s[:1]
    moved = _common_place(aligned, bound, problem)
    begins = tuple(Measured(float(here[0] + moved.value + later), 0.0) for later in later_s)
    grid = Grid(begins[0].value, ticks.period_s, numbers - numbers[0], ticks.nominal_hz)
    step = _step(row_px, bound, problem, begins, grid)
    return replace(step, shared_u_s=math.hypot(step.shared_u_s, moved.u))


def _by_themselves(
    courses: list[Course],
    free: Solution,
    problem: Joint,
    row_px: float,
    rates_hz: list[float],
) -> Step:
    """Return the step as the answers alone tell it, on their own grid where they lie on one."""
    shared = np.array([free.response_s, free.slant_s_per_px.value, free.exposure_s.value])
    free = problem.or_at_once(np.eye(free.begins_s.size), free.begins_s, free)
    alone = _alone(courses, free, problem)
    at, u = np.array([m.value for m in alone]), np.array([m.u for m in alone])
    grid = fit_grid(at, u, rates_hz)
    bound = None if grid is None else _on_own_grid(courses, shared, free, problem, grid, row_px)
    if bound is not None:
        return bound
    free = _searched_anew(free, problem)
    alone = _alone(courses, free, problem)
    step = _step(row_px, free, problem, tuple(alone), None)
    if _shared_variance(free.spread) > problem.known.period_s**2 / 12:
        # No slope in the dead time, where the begins lie: what all together still allow.
        at = np.array([m.value for m in alone])
        together = _common_place(courses, replace(free, begins_s=at), problem)
        step = replace(step, shared_u_s=math.hypot(together.u, _coded_u_s(problem.known)))
    return step


def _on_own_grid(
    courses: list[Course],
    shared: Samples,
    free: Solution,
    problem: Joint,
    grid: Grid,
    row_px: float,
) -> Step | None:
    """Return the step with its begins as ticks of a grid of their own, None where it fits ill.

    ``shared`` is what the search begins with: response time, slant and exposure.
    """
    basis = np.column_stack([np.ones(grid.ticks.size), grid.ticks.astype(float)])
    first = np.array([grid.zero_s, grid.period_s])
    bound = problem.solve_firmly(basis, first, shared)
    if bound.cost > max(_NO_TICKS, _NO_TICKS_OF_FREE * free.cost):
        return None
    own = np.sqrt(np.maximum(np.diag(bound.spread) - _shared_variance(bound.spread), 0.0))
    moved = _common_place(courses, bound, problem)
    begins = bound.begins_s + moved.value
    ticks = tuple(Measured(float(t), float(s)) for t, s in zip(begins, own, strict=True))
    period = float(np.polyfit(grid.ticks, begins, 1)[0])
    grid = replace(grid, zero_s=float((begins - grid.ticks * period).mean()), period_s=period)
    step = _step(row_px, bound, problem, ticks, grid)
    return replace(step, shared_u_s=math.hypot(step.shared_u_s, moved.u))


def _searched_anew(free: Solution, problem: Joint) -> Solution:
    """Return the best step of searches begun from the exposures that the lamp allows.

    Begins that lie on no grid give way to an exposure, and one that is far off may be a dead end.
    """
    every_press = np.eye(free.begins_s.size)
    ends = [free]
    for exposure_s in problem.known.exposure_s.nodes():
        shared = np.array([free.response_s, free.slant_s_per_px.value, exposure_s])
        end = problem.solve(every_press, free.begins_s, shared)
        ends.append(problem.or_at_once(every_press, free.begins_s, end))
    return min(ends, key=lambda end: end.cost)


def _on_ticks(
    courses: list[Course],
    aligned_s: Samples,
    free: Solution,
    problem: Joint,
    row_px: float,
    ticks: Ticks,
    sliding: bool,
) -> Step | None:
    """Return the step with every begin on one of the panel's ticks, None where that is unsure."""
    exposure, seen = problem.known.exposure_s, free.exposure_s
    # Slides lie beside each other too loosely for a step to be seen in them.
    pulsed = exposure.value - seen.value > _PULSED * math.hypot(exposure.u, seen.u)
    if pulsed and not sliding:
        return None  # the panel's light comes in pulses, and all that moves is seen at those alone
    placed = place_on_ticks(
        courses, aligned_s, ticks, row_px, problem.bands, exposure, sliding=sliding
    )
    if placed is None:
        return None
    # A coarse encoder shows some of an answer before its time, which looks like a first game frame.
    sooner_s = np.median(free.begins_s - [begin.value for begin in placed.begins])
    if problem.known.coarseness > SPREADS and sooner_s > ticks.period_s / 2:
        return None
    zero, slants = ticks.zero_at(row_px), (ticks.slant_s_per_px, free.slant_s_per_px)
    return Step(
        row_px,
        placed.begins,
        zero.u,
        Grid(zero.value, ticks.period_s, placed.numbers, ticks.nominal_hz),
        free.response_s,
        min(slants, key=lambda slant: slant.u),
        exposure,
        exposure,
        problem.unit,
        np.maximum(free.heights, 0.0),
        on_ticks=True,
    )


def _free(
    courses: list[Course],
    aligned_s: Samples,
    template: Template,
    departure_s: float,
    below: Bands,
    known: Known,
) -> tuple[Solution, Joint]:
    """Return every press's begin by itself, with what the step has in common.

    A search that ends far from what is known of slant and exposure may have run into a
    dead end: it is begun anew from places beside, and an end near it counts that is what is
    known and fits far better. So may one of a panel in step with the camera, which shows few
    parts of its course: it is begun anew from a slow panel too.
    """
    rows_s = known.slant_s_per_px.value * below.row_px

    def searched(later_frames: float, response_s: float = _FAST_S) -> tuple[Solution, Joint]:
        # The first band to answer is the one that departs.
        zero = departure_s - float(rows_s.min()) + (0.3 + later_frames) * known.period_s
        direction = _first_look(template, zero + rows_s, known)
        begins = aligned_s + zero - math.log(2) * (response_s - _FAST_S)  # half of it is seen there
        shared = np.array([response_s, known.slant_s_per_px.value, known.exposure_s.value])
        for _ in range(_ROUNDS):  # which samples count depends on where the step begins
            problem = Joint(courses, begins, direction, below, known)
            solution = problem.solve(np.eye(begins.size), begins, shared)
            begins = begins + float((solution.begins_s - begins).mean())
        return solution, problem

    found = searched(0.0)
    if concentration(found[0].begins_s, known.period_s) > _IN_STEP:
        slow = searched(0.0, _SLOW_S)
        enough = _BETTER if _exposed_as_known(slow) else _FAR_BETTER
        if _as_known(slow) and slow[0].cost < enough * found[0].cost:
            found = slow
    alone = below.row_px.size == 1  # carried to one row, answers show neither slant nor scan
    if alone or (_as_known(found) and _exposed_as_known(found)):
        return found
    return min(
        (end for end in map(searched, _BESIDE_FRAMES) if _is_found_instead(end, found[0])),
        key=lambda pair: pair[0].cost,
        default=found,
    )


def _as_known(free: tuple[Solution, Joint]) -> bool:
    """Tell whether a fit's slant is what it was held to be."""
    solution, problem = free
    known = problem.known.slant_s_per_px
    away = abs(solution.slant_s_per_px.value - known.value)
    return away <= _SLANT_AWAY * known.u


def _exposed_as_known(free: tuple[Solution, Joint]) -> bool:
    """Tell whether a fit's exposure is what the lamp or its owner told."""
    solution, problem = free
    known = problem.known
    away = abs(solution.exposure_s.value - known.exposure_s.value)
    return away <= _SLANT_AWAY * max(known.exposure_s.u, EXPOSURE_DOUBT * known.period_s)


def _is_found_instead(end: tuple[Solution, Joint], first: Solution) -> bool:
    """Tell whether one end of the search counts instead of the first.

    One farther off may be the answer's next game frame, which often is the greater step.
    """
    solution, problem = end
    away_s = abs(float((solution.begins_s - first.begins_s).mean()))
    return (
        _as_known(end)
        and _exposed_as_known(end)
        and solution.cost < _FAR_BETTER * first.cost
        and away_s < _SAME_STEP_FRAMES * problem.known.period_s
    )


def first_departure(template: Template, frame_s: float) -> float | None:
    """Return the time at which the template first jumps, or None where it never does.

    Scenes creep before an answer (a breathing figure strays from its look before
    the press), so it is the rise within a frame that tells, not the level.
    """
    level = np.sqrt((template.values**2).sum(axis=(1, 2)))
    step = template.after_s[1] - template.after_s[0]
    run = max(1, round(frame_s / step))
    rise = level[run:] - level[:-run]
    resting = template.after_s[:-run] < _RESTING * template.after_s[0]
    least = max(_OVER_CREEP * float(rise[resting].max()), _OF_STEEPEST * float(rise.max()), 1e-9)
    jumps = np.flatnonzero(rise > least)
    if jumps.size == 0:
        return None
    return float(template.after_s[jumps[0]] + frame_s / 2)


def _alone(courses: list[Course], solution: Solution, problem: Joint) -> list[Measured]:
    """Return when the step began for each press by itself."""
    aligned = problem.guess + float((solution.begins_s - problem.guess).mean())
    return [
        place_press(course, float(at), float(gain), solution, problem)
        for course, at, gain in zip(courses, aligned, solution.gains, strict=True)
    ]


def place_press(
    course: Course, aligned_s: float, gain: float, solution: Solution, problem: Joint
) -> Measured:
    """Return when the step began for one press by itself, in the clock of frames.

    The value is the mean of the posterior over placements about where the press
    was aligned; ``u`` is its standard deviation. Unlike the fit, it knows the
    dead time between exposures, in which nothing changes.
    """
    known = problem.known
    reach_s = max(_REACH_FRAMES * known.period_s, 3 * known.aligned_u_s)
    shifts = np.arange(-reach_s, reach_s, known.period_s / _PLACES_A_FRAME)
    misfit = (shifts / known.aligned_u_s) ** 2
    misfit += _misfit_beside(course, aligned_s, shifts, gain, solution, problem)
    found = mean_and_spread(shifts, misfit)
    return found + aligned_s


def _common_place(courses: list[Course], bound: Solution, problem: Joint) -> Measured:
    """Return by how much all begins together may still move, as a posterior: mean and spread.

    A panel that refreshes in step with the camera begins always at the same place between
    its frames. If that lies in the dead time, no number of presses tells where.
    """
    shifts = np.arange(-1, 1, 1 / _PLACES_A_FRAME) * problem.known.period_s
    misfit = np.zeros(shifts.size)
    each = zip(courses, bound.begins_s, bound.gains, problem.repeats, strict=True)
    for course, begin, gain, repeats in each:
        misfit += _misfit_beside(
            course, float(begin), shifts, float(gain), bound, problem, float(repeats)
        )
    return mean_and_spread(shifts, misfit)


def mean_and_spread(places: Samples, misfit: Samples) -> Measured:
    """Return mean and standard deviation of the posterior over evenly spaced places.

    Where its best place lies beyond those tried, half their range is the doubt.
    """
    chance = np.exp(-0.5 * (misfit - misfit.min()))
    chance /= chance.sum()
    mean = float(chance @ places)
    if chance[0] + chance[-1] > _AT_AN_END:  # the best place lies beyond those tried
        return Measured(mean, float(np.ptp(places)) / 2)
    return Measured(mean, float(chance @ (places - mean) ** 2) ** 0.5)


def _misfit_beside(
    course: Course,
    aligned_s: float,
    shifts: Samples,
    gain: float,
    solution: Solution,
    problem: Joint,
    repeats: float = 1.0,
) -> Samples:
    """Return the misfit of one press's samples to a step at each shift from a place."""
    known, bands = problem.known, problem.bands
    period, e, slant = known.period_s, solution.exposure_s.value, solution.slant_s_per_px.value
    seen = np.flatnonzero(solution.heights > 0)
    offsets_s = slant * bands.row_px[seen]
    after_s = course.start_s[:, None] - aligned_s - offsets_s
    last_s = max(known.hold_s - _REACH_FRAMES * period, 1.1 * period)
    use = (after_s > -TOLD_FRAMES * period) & (after_s + e < last_s)
    frames, places = np.nonzero(use)
    r, heights = problem.over_rest(course, seen, after_s)[use], solution.heights[seen][places]
    after = course.start_s[frames] - (aligned_s + shifts)[:, None] - offsets_s[places]
    spread = abs(slant) * bands.spread_px[seen][places]
    share = gain * gathered_in_band(after, spread, e, solution.response_s)
    noise = doubt_of(r, heights, repeats, known.coarseness) * solution.misfit
    misfit: Samples = (((r - heights * share) / noise) ** 2).sum(axis=1)
    return misfit


def _step(
    row_px: float,
    solution: Solution,
    problem: Joint,
    begins: tuple[Measured, ...],
    grid: Grid | None,
) -> Step:
    return Step(
        row_px,
        begins,
        math.hypot(
            _shared_variance(solution.spread) ** 0.5,
            _coded_u_s(problem.known),
            _response_u_s(solution.response_s, problem.known),
        ),
        grid,
        solution.response_s,
        solution.slant_s_per_px,
        solution.exposure_s,
        solution.wanted_exposure_s,
        problem.unit,
        np.maximum(solution.heights, 0.0),
    )


def _coded_u_s(known: Known) -> float:
    """Return how far encoding shifts all begins together."""
    return _STEP_DOUBT * known.coarseness * known.period_s


def _response_u_s(response_s: float, known: Known) -> float:
    """Return the doubt a slow panel leaves: the more, the less of its course is shown or encoded.

    A game frame may be too short to show all of it, an encoder too coarse.
    """
    shown = max(1.0, _COURSES_A_HOLD * response_s / known.hold_s)
    return _RESPONSE_DOUBT * response_s * shown * known.coarseness


def _shared_variance(spread: Samples) -> float:
    """Return the variance that all begins have in common: the mean covariance of two of them."""
    n = spread.shape[0]
    if n < 2:
        return 0.0
    common: float = (spread.sum() - np.trace(spread)) / (n * (n - 1))
    return max(0.0, common)


def _first_look(template: Template, begins_s: Samples, known: Known) -> Samples:
    """Return the mean of each band's template over its first game frame."""
    out = np.zeros(template.values.shape[1:])
    for b, begin in enumerate(begins_s):
        until = begin + max(known.hold_s - known.period_s, 1.2 * known.period_s)
        use = (template.after_s > begin + 0.5 * known.period_s) & (template.after_s < until)
        if use.any():
            out[b] = template.values[use, b].mean(axis=0)
    return out
