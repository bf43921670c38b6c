"""The step of answers that each show at rows of their own, carried to one row.

A highlight lower in a menu lights later by the scan down to it. Within one answer that
slant is hardly to be seen, so it is taken from what is known of panel and camera, and its
doubt counts the more the farther an answer's rows are from the row of statement.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from blinkspan.onsets.alignment import Course, Fit, Template
from blinkspan.onsets.joint import Known
from blinkspan.onsets.own_look import OwnLooks
from blinkspan.onsets.softened import Bands
from blinkspan.onsets.step import Step, fit_step
from blinkspan.onsets.ticks import Ticks
from blinkspan.quantities import Measured
from blinkspan.traces.trace import Samples

# Of the time the scan takes over the standard deviation of one look's rows, which are taken
# as evenly spread and alike in all presses: bars far apart are not (drawn menus).
_SPREAD_DOUBT = 0.5
_SLANT_DOUBT = 0.15  # of the slant: a readout anywhere from none to a frame, at 60 Hz


def rows_away_px(own: OwnLooks, answered: Sequence[bool], row_px: float) -> Samples:
    """Return how far below a row each answered press's own place is."""
    away: Samples = np.nan_to_num(own.row_px[np.array(answered)] - row_px)
    return away


def fit_by_own_rows(
    own: OwnLooks,
    answered: Sequence[bool],
    courses: Sequence[Course],
    fits: Sequence[Fit],
    template: Template,
    row_px: float,
    known: Sequence[Known],
    rates_hz: list[float],
    ticks: Ticks | None = None,
) -> Step | None:
    """Return the step, stated at ``row_px``, or None where the answers rise like none.

    Of the slants that may be, the first counts under which the begins lie on a grid of
    refreshes, else the first of all.

    Parameters
    ----------
    own : OwnLooks
    answered : sequence of bool, one a press
    courses, fits : one each an answered press
    template : Template
    row_px : float
    known : sequence of Known
        Alike but for their slant.
    rates_hz : list of float
    ticks : Ticks, optional
        The panel's, from all that moves in the take.
    """
    away_px = rows_away_px(own, answered, row_px)
    bands = Bands(np.array([row_px]), np.array([float(np.nanmedian(own.row_spread_px))]))
    steps = []
    for each in known:
        slant = each.slant_s_per_px.value
        slant_u = min(each.slant_s_per_px.u, _SLANT_DOUBT * abs(slant))
        held = replace(each, slant_s_per_px=Measured(slant, slant_u))
        late = slant * away_px
        step = fit_step(
            [replace(c, start_s=c.start_s - t) for c, t in zip(courses, late, strict=True)],
            [replace(f, at_s=f.at_s - t) for f, t in zip(fits, late.tolist(), strict=True)],
            template,
            bands,
            row_px,
            [held],
            rates_hz,
            ticks=ticks,
        )
        if step is not None:
            spread_px = np.nan_to_num(own.row_spread_px[np.array(answered)])
            doubts = np.hypot(slant_u * away_px, _SPREAD_DOUBT * slant * spread_px).tolist()
            begins = tuple(
                replace(begin, u=math.hypot(begin.u, u))
                for begin, u in zip(step.begins, doubts, strict=True)
            )
            # Not its own slant, which the breadth of one band would tell badly.
            steps.append(replace(step, begins=begins, slant_s_per_px=each.slant_s_per_px))
    on_grid = [step for step in steps if step.grid is not None]
    return next(iter([*on_grid, *steps]), None)
