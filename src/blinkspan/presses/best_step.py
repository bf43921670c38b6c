"""The step of the panel by the way of looking that tells it.

Most answers look alike every time and stand out of what the scene does by itself; the
first way of looking finds them. Where it finds no step, or none for some of the presses,
the others are tried, and count only if their answers lie on a grid of refreshes and want
no other exposure than the lamp does, which chance would hardly bring about. A step that
misses presses gives way only to one that times the others alike.
"""

import math
from collections.abc import Callable
from statistics import median

from blinkspan.presses.other_ways import other_answers
from blinkspan.presses.panel_step import Stepped
from blinkspan.presses.searching import Found, Search
from blinkspan.quantities import Measured
from blinkspan.traces.reduction import Series

# Slower than any panel in use (common practice): a step that reads so grows by itself.
_SLOWEST_PANEL_S = 0.009
# Standard deviations between two exposures, or two begins, before they are held to differ.
_CONFLICT = 2.5
_WELL_TOLD = 0.3  # of a frame: by more, answers unlike each other hardly tell their grid


def best_step(
    series: Series,
    todo: list[Search],
    found: Found,
    exposure: Measured,
    step_of: Callable[[Found], Stepped],
) -> Stepped:
    """Return the step of the answers as found, or of others looked for.

    ``exposure`` is what the lamp alone tells, or what was given; ``step_of`` is
    ``panel_step`` with all but the answers given.
    """
    period_s = series.clock.period_s
    best = step_of(found)
    if found.learnt is None or (_is_a_step(best, period_s) and _answered(best) == len(todo)):
        return best
    for other in map(step_of, other_answers(series, todo, found.learnt)):
        if not (_is_a_step(other, period_s) and _on_grid(other, exposure)):
            continue
        if not _is_a_step(best, period_s) or (
            _answered(other) > _answered(best) and _timed_alike(best, other)
        ):
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


def _on_grid(stepped: Stepped, exposure: Measured) -> bool:
    """Tell whether answers lie on a grid, fitted with an exposure that the lamp allows."""
    _, panel, _ = stepped
    if panel is None or panel.step.grid is None:
        return False
    seen = panel.step.exposure_s
    return abs(seen.value - exposure.value) <= _CONFLICT * math.hypot(seen.u, exposure.u)


def _timed_alike(one: Stepped, other: Stepped) -> bool:
    """Tell whether two ways of looking time the presses that both find at one moment.

    The first way looks at most of what changes: another that finds a press more and
    contradicts it on all the others is worse.
    """
    begins, others = _begins_s(one), _begins_s(other)
    away_s = [others[k] - begins[k] for k in begins.keys() & others.keys()]
    u_s = math.hypot(*(s[1].step.shared_u_s for s in (one, other) if s[1] is not None))
    return not away_s or abs(median(away_s)) <= _CONFLICT * u_s


def _begins_s(stepped: Stepped) -> dict[int, float]:
    """Return when each press that is answered is answered, by its number."""
    found, panel, _ = stepped
    if panel is None:
        return {}
    answered = [k for k, answer in enumerate(found.answers) if answer is not None]
    return {k: at.value for k, at in zip(answered, panel.step.begins, strict=True)}


def _answered(stepped: Stepped) -> int:
    return sum(answer is not None for answer in stepped[0].answers)
