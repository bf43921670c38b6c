"""Answers told by what each refresh of the panel changes alike after every press.

Over a lively scene, or where presses go back and forth, this tells to the refresh on which
tick each answer begins; the light of what the first one changes, frame by frame, then tells
when the panel's ticks are.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.alignment import Course, Fit
from blinkspan.onsets.drift import look_at
from blinkspan.onsets.grid import Grid
from blinkspan.onsets.idle import Idle
from blinkspan.onsets.joint import Known
from blinkspan.onsets.look import Light, light_of
from blinkspan.onsets.pattern import FEATURES
from blinkspan.onsets.refresh_changes import LEAST_LIKE, Shared, shared_answers
from blinkspan.onsets.refresh_pictures import changes_of, pictures_at
from blinkspan.onsets.softened import Bands
from blinkspan.onsets.step import Step, step_on_numbers
from blinkspan.onsets.ticks import Ticks
from blinkspan.presses.panel_step import PanelStep, Stepped, contested_where, shown_for_s
from blinkspan.presses.pressing import as_strong
from blinkspan.presses.searching import (
    Answer,
    Found,
    Learnt,
    Search,
    guessed_changes,
    match,
    stretches,
)
from blinkspan.presses.shutter import slants_to_try
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Regions
from blinkspan.traces.trace import Samples

_BANDS = 8
# Of the ticks' instants, as all that moves tells them, and as the answers do: beyond what each
# is held to (films of a fifth renderer).
_LEAST_U_S = 6e-4
_TOLD = 0.25  # of a tick: less surely told, pictures of successive ones run into each other
_SAME_TICK = 0.6  # of a tick: begins no farther apart are on the same one


def stepped_by_refreshes(
    series: Series,
    regions: Regions,
    todo: list[Search],
    best: Stepped,
    exposure: Measured,
    camera: CameraProfile,
    display: DisplayProfile,
    ticks: Ticks | None,
) -> Stepped | None:
    """Return the answers that the presses have in common refresh for refresh, None without.

    ``best`` is what was found by looking otherwise, of which the ticks are taken where nothing
    else in the take tells them. It is kept where as many of its answers are sure and most begin
    on the same ticks; presses that do not are then in doubt.
    """
    found, panel, late = best
    if panel is not None and panel.pulsed:
        return None  # pictures are seen by their pulses, which the ticks do not tell
    if ticks is None and panel is not None and panel.step.grid is not None:
        ticks = _ticks_of_step(panel.step, panel.step.grid, regions)
    if ticks is None or found.learnt is None or ticks.zero_s.u > _TOLD * ticks.period_s:
        return None
    learnt = found.learnt
    lamps = [search.lamp_frame for search in todo]
    shared = shared_answers(changes_of(series, lamps, learnt.idle, ticks, exposure))
    if shared is None or not shared.first_tick_clear:
        return None
    if panel is not None and panel.step.grid is not None and _says_as_much(found, shared):
        elsewhere = _elsewhere(found, panel.step, shared, ticks)
        if elsewhere is not None:
            return contested_where(found, elsewhere), panel, late
    answered = shared.like > LEAST_LIKE
    if display.refresh_hz is None:
        display = replace(display, refresh_hz=ticks.nominal_hz)
    period_s = series.clock.period_s
    known = Known(
        period_s,
        exposure,
        slants_to_try(series, regions, camera, display, ticks)[0],
        max(ticks.period_s, 2 * period_s),
        True,
        series.picture.coarseness,
    )
    row_px = regions.watch.middle_row_px
    step = _step(series, todo, shared, answered, learnt.idle, ticks, known, row_px)
    found = _found(series, todo, shared, answered, learnt, step)
    hold_s = shown_for_s(display, period_s)
    return found, PanelStep(step, exposure, Measured(0.0, 0.0), 0.0, hold_s, display), []


def _ticks_of_step(step: Step, grid: Grid, regions: Regions) -> Ticks:
    panel = regions.watch if regions.panel is None else regions.panel.bounding_box()
    zero = Measured(grid.zero_s, step.shared_u_s)
    return Ticks(
        zero, grid.period_s, grid.nominal_hz, step.slant_s_per_px, step.row_px, panel.height
    )


def _says_as_much(found: Found, shared: Shared) -> bool:
    """Tell whether as many answers are sure as found otherwise."""
    answers = [answer for answer in found.answers if answer is not None]
    learnt = found.learnt
    assert learnt is not None  # asked with what was learnt
    borne_out = learnt.template.alike or learnt.jumps_s is not None
    if not (borne_out or as_strong([answer.fit.gain for answer in answers])):
        return False
    return sum(not answer.contested for answer in answers) >= int(shared.sure.sum())


def _elsewhere(
    found: Found, step: Step, shared: Shared, ticks: Ticks
) -> npt.NDArray[np.bool_] | None:
    """Tell which answers begin on other ticks than most, or None where most do.

    Shape (answers,). All together may lie some milliseconds beside the ticks.
    """
    told = np.array([answer is not None for answer in found.answers])
    begins_s = np.array([begin.value for begin in step.begins])
    zero_s = ticks.zero_at(step.row_px).value
    away = (begins_s - zero_s) / ticks.period_s - shared.numbers[told]
    sure = shared.sure[told]
    if not sure.any() or abs(together := float(np.median(away[sure]))) > _SAME_TICK:
        return None
    far = np.abs(away - together) > _SAME_TICK
    # A press whose first game frame is lost begins with its second, one tick on.
    elsewhere: npt.NDArray[np.bool_] = np.where(sure, far, shared.elsewhere[told] & ~far)
    return elsewhere


def _found(
    series: Series,
    todo: list[Search],
    shared: Shared,
    answered: npt.NDArray[np.bool_],
    learnt: Learnt,
    step: Step,
) -> Found:
    """Return the answers where they begin, with the pattern learnt there."""
    start_s, period_s = series.clock.start_s, series.clock.period_s
    begins = iter(step.begins)
    places = [next(begins).value if each else None for each in answered]
    firsts = [None if at is None else int(np.searchsorted(start_s, at)) for at in places]
    # A lively scene is soon unlike what it was before the press.
    looks = [
        look if first is None else look_at(series.watch, first - 1, period_s, learnt.idle.drift)
        for look, first in zip(learnt.looks, firsts, strict=True)
    ]
    guessed = guessed_changes(looks, firsts, period_s)
    found = match(series, todo, looks, learnt.idle, learnt.evidence, guessed, places, places)
    answers = [
        None if at is None else Answer(Fit(at, 1.0, float(strength)), None, contested=not sure)
        for at, strength, sure in zip(places, shared.strength, shared.sure, strict=True)
    ]
    return replace(found, answers=answers)


def _step(
    series: Series,
    todo: list[Search],
    shared: Shared,
    answered: npt.NDArray[np.bool_],
    idle: Idle,
    ticks: Ticks,
    known: Known,
    row_px: float,
) -> Step:
    """Return the step of the presses answered.

    The answers tell when they begin, and so do the ticks of all that moves: both count.
    """
    changes = np.stack(
        [
            np.diff(
                pictures_at(series, ticks, known.exposure_s, np.array([n - 1, n]), idle)[0], axis=0
            )[0]
            for n in shared.numbers
        ]
    )
    looks = np.stack(
        [
            changes[shared.sure & (shared.half == half)].mean(axis=0)
            for half in range(int(shared.half.max()) + 1)
        ]
    )
    whole = np.sqrt(np.mean(looks**2, axis=0))
    parts = np.array_split(np.arange(whole.shape[0]), min(_BANDS, whole.shape[0]))
    direction = np.zeros((len(parts), FEATURES))
    direction[:, 0] = [np.sqrt((whole[part] ** 2).sum()) for part in parts]
    courses = [
        _course(series, stretch, looks[half], parts, idle)
        for stretch, half in zip(stretches(todo, known.period_s), shared.half, strict=True)
    ]
    told = np.flatnonzero(answered)
    step = step_on_numbers(
        [courses[k] for k in told],
        shared.numbers[told],
        direction,
        _bands(whole, parts, series.watch_row_px),
        row_px,
        known,
        ticks,
    )
    return _with_ticks(step, shared.numbers[told], ticks)


def _bands(whole: Light, parts: Sequence[npt.NDArray[np.intp]], rows_px: Samples) -> Bands:
    """Return where in the picture the change of each part of the rows sits."""
    middle, spread = np.zeros(len(parts)), np.zeros(len(parts))
    row_height = float(rows_px[1] - rows_px[0]) if rows_px.size > 1 else 0.0
    for band, part in enumerate(parts):
        weight = (whole[part] ** 2).sum(axis=1) + 1e-9  # where nothing changes, all rows alike
        middle[band] = np.average(rows_px[part], weights=weight)
        away = (rows_px[part] - middle[band]) ** 2
        spread[band] = (np.average(away, weights=weight) + row_height**2 / 12) ** 0.5
    return Bands(middle, spread)


def _with_ticks(step: Step, numbers: npt.NDArray[np.intp], ticks: Ticks) -> Step:
    """Return the step moved to where it and the ticks agree best, each weighed by its doubt."""
    told = ticks.zero_at(step.row_px)
    ticked_s = told.value + ticks.period_s * numbers
    later_s = float(np.mean(ticked_s - [begin.value for begin in step.begins]))
    own, given = (math.hypot(u, _LEAST_U_S) for u in (step.shared_u_s, told.u))
    share = own**2 / (own**2 + given**2)
    begins = tuple(begin + share * later_s for begin in step.begins)
    return replace(step, begins=begins, shared_u_s=own * given / math.hypot(own, given))


def _course(
    series: Series,
    stretch: tuple[int, int],
    look: Light,
    parts: Sequence[npt.NDArray[np.intp]],
    idle: Idle,
) -> Course:
    """Return how far the picture has gone along a look in each band."""
    first, stop = max(0, stretch[0]), min(series.clock.start_s.size, stretch[1])
    light = light_of(series.watch, first, stop) / idle.sd
    values = np.zeros((stop - first, len(parts), FEATURES))
    for band, part in enumerate(parts):
        length = max(float(np.linalg.norm(look[part])), 1e-9)
        values[:, band, 0] = np.einsum("mrc,rc->m", light[:, part], look[part]) / length
    return Course(series.clock.start_s[first:stop], values)
