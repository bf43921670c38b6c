"""Other ways of looking for the answers, where the first one finds none that agree.

The first way begins at what each press changes that the take does not do by itself. It
fails where a busy scene hides the answers, and where no two answers look alike.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from blinkspan.onsets.alignment import turned
from blinkspan.onsets.look import Frame
from blinkspan.onsets.moving import as_one, learn_moving, moving_course, moving_pattern, under_way
from blinkspan.onsets.own_look import own_looks, without_faint
from blinkspan.onsets.pattern import Change
from blinkspan.onsets.usual_wait import usual_wait
from blinkspan.presses.searching import (
    ALIKE_MOVING,
    FIRST_S,
    LATER_S,
    Found,
    Learnt,
    Search,
    aligned,
    frames_after,
    guessed_changes,
    match,
    match_own,
    places_of,
    signs_of,
    stretches,
)
from blinkspan.traces.reduction import Series

_FEWEST_MOVING = 3  # presses that move the view alike
_SETTLED_S = (0.035, 0.060)  # after the first presses' answers: by then the last has answered
_LONGEST_USUAL_S = 0.300  # a usual wait longer than this is looked for press by press only


def other_answers(series: Series, todo: list[Search], learnt: Learnt) -> Iterator[Found]:
    """Yield what other ways of looking find, where the first one tells no step of a panel.

    The view that slides; the change that all presses have in common at one time after the
    lamp; and what each press turns the place of that change into.
    """
    for found in _ways(series, todo, learnt):
        if found is not None and found.learnt is not None and found.learnt.template.alike:
            yield found


def _ways(series: Series, todo: list[Search], learnt: Learnt) -> Iterator[Found | None]:
    yield _by_sliding(series, todo, learnt)
    frames = [s.lamp_frame for s in todo]
    reach = max(1, round(_LONGEST_USUAL_S / series.clock.period_s))
    wait = usual_wait(series.watch, frames, learnt.looks, learnt.idle, reach)
    if wait is not None:
        firsts = [frame + wait for frame in frames]
        yield _by_usual_wait(series, todo, learnt, firsts)
        yield _by_own_outcome(series, todo, learnt, firsts)


def _by_usual_wait(
    series: Series, todo: list[Search], learnt: Learnt, firsts: list[Frame]
) -> Found:
    """Return the answers found from one wait for all presses.

    A busy scene hides each answer, and what it does by itself is taken for one; but it does
    that at any time, and the answers come nearly at the same time after every press.
    """
    looks, start_s, period = learnt.looks, series.clock.start_s, series.clock.period_s
    guessed, places = guessed_changes(looks, firsts, period), places_of(firsts, start_s)
    return match(series, todo, looks, learnt.idle, learnt.evidence, guessed, places)


def _by_own_outcome(
    series: Series, todo: list[Search], learnt: Learnt, firsts: list[Frame]
) -> Found | None:
    """Return the answers as each press's way to what it settles down to.

    In the same place something else shows each time, such as a number that counts up.
    """
    looks, start_s, period = learnt.looks, series.clock.start_s, series.clock.period_s
    stretches_settled = [frames_after(first, _SETTLED_S, period) for first in firsts]
    settled_down = [
        Change(look, stretch, stretch)
        for look, stretch in zip(looks, stretches_settled, strict=True)
    ]
    own = own_looks(series.watch, series.watch_row_px, learnt.idle, settled_down, sure=True)
    if own is None:
        return None
    own = without_faint(own)
    places = [
        None if look is None else at
        for at, look in zip(places_of(firsts, start_s), own.looks, strict=True)
    ]
    return match_own(series, todo, looks, learnt.idle, learnt.evidence, own, places)


def _by_sliding(series: Series, todo: list[Search], learnt: Learnt) -> Found | None:
    """Return the answers told by how far the view has slid, None where that tells nothing."""
    film, start_s, period = series.watch, series.clock.start_s, series.clock.period_s
    moving = learn_moving(film, learnt.idle, learnt.pattern.bands)
    if moving is None:
        return None
    courses = [
        moving_course(film, start_s, stretch, look, moving)
        for stretch, look in zip(stretches(todo, period), learnt.looks, strict=True)
    ]
    places = [
        under_way(as_one(course, moving), float(start_s[s.lamp_frame]), float(start_s[s.stop - 1]))
        for course, s in zip(courses, todo, strict=True)
    ]
    placed = [k for k, at in enumerate(places) if at is not None]
    if len(placed) < max(_FEWEST_MOVING, len(todo) / 2):
        return None
    signs = signs_of([courses[k] for k in placed], [at for at in places if at is not None])
    for k, sign in zip(placed, signs, strict=True):
        courses[k] = turned(courses[k], sign)
    template, answers = aligned(courses, places, todo, start_s, period, ALIKE_MOVING)
    shown = [
        Change(
            learnt.looks[k],
            frames_after(first, FIRST_S, period),
            frames_after(first, LATER_S, period),
        )
        for k, at in enumerate(places)
        if at is not None
        for first in [int(np.searchsorted(start_s, at))]
    ]
    pattern = moving_pattern(learnt.pattern, moving, series.watch_row_px, shown, learnt.idle, film)
    learnt = replace(learnt, pattern=pattern, template=template, moving=moving)
    return Found(answers, courses, learnt)
