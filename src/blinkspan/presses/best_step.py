"""The step of the panel by the way of looking that tells it.

Most answers look alike every time and stand out of what the scene does by itself; the
first way of looking finds them. What all presses change alike, refresh for refresh, bears
them out or stands in for them. Where that tells nothing and the first way finds no step,
none for some of the presses, or answers unlike each other that leave much in doubt, the
others are tried. Theirs count only if they lie on a grid of refreshes and want no other
exposure than the lamp does, which chance would hardly bring about; where all that moves
shows the panel's refreshes, the grid has to be theirs, and where all presses share a jump,
they have to begin at it.
"""

import math
from collections.abc import Callable

import numpy as np

from blinkspan.onsets.grid import Grid
from blinkspan.onsets.step import Step
from blinkspan.onsets.ticks import Ticks
from blinkspan.presses.other_ways import other_answers
from blinkspan.presses.panel_step import BESIDE, CONFLICT, FEWEST_JUMPS, Stepped, begun_after
from blinkspan.presses.searching import Found, Search
from blinkspan.quantities import Measured
from blinkspan.traces.reduction import Series

# Slower than any panel in use (common practice): a step that reads so grows by itself.
_SLOWEST_PANEL_S = 0.009
_AS_MUCH = 1.1  # of the doubt that all begins share
_WELL_TOLD = 0.3  # of a frame: by more, answers unlike each other hardly tell their grid


def best_step(
    series: Series,
    todo: list[Search],
    found: Found,
    exposure: Measured,
    ticks: Ticks | None,
    step_of: Callable[[Found], Stepped],
    by_refreshes: Callable[[Stepped], Stepped | None],
) -> Stepped:
    """Return the step of the answers as found, or of others looked for.

    ``exposure`` is what the lamp alone tells, or what was given; ``ticks`` are the panel's,
    where all that moves shows them; ``step_of`` is ``panel_step`` with all but the answers given,
    ``by_refreshes`` what the presses have in common refresh for refresh.
    """
    period_s = series.clock.period_s
    best = step_of(found)
    if found.learnt is None:
        return best
    shared = by_refreshes(best)
    if shared is not None:
        return shared
    if _suffices(best, period_s):
        return best
    jumps_s = best[0].learnt.jumps_s if best[0].learnt is not None else None
    for other in map(step_of, other_answers(series, todo, found.learnt)):
        if not (_is_a_step(other, period_s) and _on_grid(other, exposure, ticks)):
            continue
        if jumps_s is not None and not _begins_at(jumps_s, other):
            continue
        if _is_better(other, best, period_s):
            best = other
        if _suffices(best, period_s):
            break
    return best


def _suffices(stepped: Stepped, period_s: float) -> bool:
    """Tell whether no other way would be better: all presses are answered, and alike or surely."""
    found, panel, _ = stepped
    if panel is None or None in found.answers or not _is_a_step(stepped, period_s):
        return False
    return _alike(stepped) or panel.shared_u_s < period_s


def _is_better(other: Stepped, best: Stepped, period_s: float) -> bool:
    """Tell whether one step is better than another.

    By the presses that are answered; and where these are as many, answers that look alike bear
    each other out and are better than others that leave as much doubt.
    """
    if not _is_a_step(best, period_s) or _answered(other) > _answered(best):
        return True
    panel, instead = best[1], other[1]
    if _alike(best) or panel is None or instead is None or _answered(other) < _answered(best):
        return False
    return _alike(other) and instead.shared_u_s < _AS_MUCH * panel.shared_u_s


def _alike(stepped: Stepped) -> bool:
    learnt = stepped[0].learnt
    return learnt is not None and learnt.template.alike


def _is_a_step(stepped: Stepped, period_s: float) -> bool:
    """Tell whether answers rise as a panel's do, and bear each other out."""
    found, panel, _ = stepped
    if panel is None or found.learnt is None:
        return False
    step = panel.step
    if found.learnt.moving is not None:
        return step.on_ticks  # a view that gathers speed makes no step of its own
    told = step.grid is not None and step.shared_u_s <= _WELL_TOLD * period_s
    if not found.learnt.template.alike and not told:
        return False
    return step.on_ticks or step.response_s < _SLOWEST_PANEL_S


def _on_grid(stepped: Stepped, exposure: Measured, ticks: Ticks | None) -> bool:
    """Tell whether answers lie on a grid, the panel's, fitted with an exposure the lamp allows."""
    _, panel, _ = stepped
    if panel is None or panel.step.grid is None:
        return False
    seen = panel.step.wanted_exposure_s
    if abs(seen.value - exposure.value) > CONFLICT * math.hypot(seen.u, exposure.u):
        return False
    return ticks is None or not _beside(ticks, panel.step, panel.step.grid)


def _begins_at(jumps_s: list[float | None], stepped: Stepped) -> bool:
    """Tell whether answers begin at the jump that all presses share."""
    found, panel, _ = stepped
    if panel is None:
        return False
    after_s = begun_after(found, panel.step, jumps_s)
    told = after_s[np.isfinite(after_s)]
    if told.size < FEWEST_JUMPS:
        return False
    usual = float(np.median(told))
    away = np.abs(told - usual) > BESIDE * panel.hold_s
    return abs(usual) < panel.hold_s and not away.any()


def _beside(ticks: Ticks, step: Step, grid: Grid) -> bool:
    """Tell whether answers lie beside the panel's own ticks, which all that moves shows."""
    zero = ticks.zero_at(step.row_px)
    turns = (grid.zero_s - zero.value) / ticks.period_s
    away_s = abs(turns - round(turns)) * ticks.period_s
    return away_s > CONFLICT * math.hypot(zero.u, step.shared_u_s)


def _answered(stepped: Stepped) -> int:
    return sum(answer is not None for answer in stepped[0].answers)
