"""The step of the panel by the way of looking that tells it.

Most answers look alike every time and stand out of what the scene does by itself; the
first way of looking finds them. Where it finds no step, or none for some of the presses,
the others are tried, and count only if their answers lie on a grid of refreshes and want
no other exposure than the lamp does, which chance would hardly bring about; where all that
moves shows the panel's refreshes, the grid has to be theirs.
"""

import math
from collections.abc import Callable

from blinkspan.onsets.grid import Grid
from blinkspan.onsets.step import Step
from blinkspan.onsets.ticks import Ticks
from blinkspan.presses.other_ways import other_answers
from blinkspan.presses.panel_step import CONFLICT, Stepped
from blinkspan.presses.searching import Found, Search
from blinkspan.quantities import Measured
from blinkspan.traces.reduction import Series

# Slower than any panel in use (common practice): a step that reads so grows by itself.
_SLOWEST_PANEL_S = 0.009
_WELL_TOLD = 0.3  # of a frame: by more, answers unlike each other hardly tell their grid


def best_step(
    series: Series,
    todo: list[Search],
    found: Found,
    exposure: Measured,
    ticks: Ticks | None,
    step_of: Callable[[Found], Stepped],
) -> Stepped:
    """Return the step of the answers as found, or of others looked for.

    ``exposure`` is what the lamp alone tells, or what was given; ``ticks`` are the panel's,
    where all that moves shows them; ``step_of`` is ``panel_step`` with all but the answers given.
    """
    period_s = series.clock.period_s
    best = step_of(found)
    if found.learnt is None or (_is_a_step(best, period_s) and _answered(best) == len(todo)):
        return best
    for other in map(step_of, other_answers(series, todo, found.learnt)):
        if not (_is_a_step(other, period_s) and _on_grid(other, exposure, ticks)):
            continue
        if not _is_a_step(best, period_s) or _answered(other) > _answered(best):
            best = other
        if _answered(best) == len(todo):
            break
    return best


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
    seen = panel.step.exposure_s
    if abs(seen.value - exposure.value) > CONFLICT * math.hypot(seen.u, exposure.u):
        return False
    return ticks is None or not _beside(ticks, panel.step, panel.step.grid)


def _beside(ticks: Ticks, step: Step, grid: Grid) -> bool:
    """Tell whether answers lie beside the panel's own ticks, which all that moves shows."""
    zero = ticks.zero_at(step.row_px)
    turns = (grid.zero_s - zero.value) / ticks.period_s
    away_s = abs(turns - round(turns)) * ticks.period_s
    return away_s > CONFLICT * math.hypot(zero.u, step.shared_u_s)


def _answered(stepped: Stepped) -> int:
    return sum(answer is not None for answer in stepped[0].answers)
