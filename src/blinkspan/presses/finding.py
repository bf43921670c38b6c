"""Find each press's answer in the watched region.

First every press is searched for anything the take does not do by itself, and for the
jump that all presses share; from those changes the action's pattern is learnt; then every
press is searched again for that pattern.
"""

from collections.abc import Sequence

import numpy as np

from blinkspan.onsets.common_jump import common_jumps
from blinkspan.onsets.drift import look_at
from blinkspan.onsets.evidence import Evidence, first_change, learn_evidence, score_of
from blinkspan.onsets.idle import Idle, idle_moments, learn_idle
from blinkspan.onsets.look import Frame, Look
from blinkspan.onsets.own_look import own_looks
from blinkspan.presses.calm_scene import answering_changes
from blinkspan.presses.searching import (
    Found,
    Search,
    guessed_changes,
    match,
    match_own,
    places_of,
)
from blinkspan.traces.reduction import Series
from blinkspan.traces.trace import Samples

_SHARE_OF_USUAL = 0.02  # of squared change: a seventh of the usual change itself
_FIRM = 0.3  # of the greatest change after a press: the answer itself, where it comes at once
# Farther from the jump that all presses share, a first change is another one's; and as far from
# the place that first changes have beside it.
_AT_JUMP_S, _SAME_JUMP_S = 0.017, 0.0085
# Of the presses, if so many first change a like time before the jump, they begin there; frames
# after the lamp in which a scene that is never as before is found changed at once.
_MOST, _SINCE_LAMP = 0.6, 2


def find_answers(series: Series, todo: list[Search]) -> Found:
    """Return the answer to each press.

    Parameters
    ----------
    series : Series
    todo : list of Search
        In order of time, at least one.
    """
    film, start_s, period = series.watch, series.clock.start_s, series.clock.period_s
    idle = learn_idle(film, idle_moments(start_s, [s.lamp_frame for s in todo], period), period)
    looks = [look_at(film, s.lamp_frame, period, idle.drift) for s in todo]
    begins = [max(0, s.lamp_frame - 2) for s in todo]
    for open_ended in (False, True):
        evidence = learn_evidence(film, idle, open_ended=open_ended)
        scores = [
            score_of(film, begin, s.stop, look, idle, evidence)
            for begin, s, look in zip(begins, todo, looks, strict=True)
        ]
        # What the scene does by itself, seen once too often, is still far below a real answer.
        usual = _SHARE_OF_USUAL * float(np.median([score.max() for score in scores]))
        threshold = max(evidence.threshold, usual)
        changes = _first_changes(begins, scores, [threshold] * len(todo))
        if any(change is not None for change in changes):
            break
    else:
        return Found([None] * len(todo), [], None)
    given = series, todo
    jumps = None
    answering = answering_changes(series, todo, changes, idle, evidence, threshold)
    if answering is not None:
        changes = answering
    else:
        jumps = common_jumps(film, [(s.lamp_frame, s.stop) for s in todo], idle, period)
    if jumps is None:
        # A place of its own for each answer is only found where a small change, such as an
        # encoder's new picture, is not taken for it.
        firm = _first_changes(
            begins,
            scores,
            [max(threshold, _FIRM * score.max()) for score in scores],
        )
        if answering is not None and _grows(answering, firm, period):
            firm = answering
        firmly = guessed_changes(looks, firm, period)
        own = own_looks(film, series.watch_row_px, idle, firmly, sure=False)
        if own is not None:
            found = match_own(*given, looks, idle, evidence, own, places_of(firm, start_s))
            if _alike(found):
                return found
    guessed = guessed_changes(looks, changes, period)
    found = match(*given, looks, idle, evidence, guessed, places_of(changes, start_s))
    if jumps is None or (_alike(found) and _first_at_jumps(changes, jumps, period)):
        return found
    if _begun_before(changes, jumps, todo, period):
        return found
    return _found_by_jumps(*given, looks, idle, evidence, changes, jumps)


def _alike(found: Found) -> bool:
    return found.learnt is not None and found.learnt.template.alike


def _found_by_jumps(
    series: Series,
    todo: list[Search],
    looks: list[Look],
    idle: Idle,
    evidence: Evidence,
    changes: list[Frame | None],
    jumps: list[float | None],
) -> Found:
    """Return the answers where the presses make the jump that they share."""
    start_s, period = series.clock.start_s, series.clock.period_s
    later = _later(changes, jumps, period)
    # A press that makes no such jump keeps its own change.
    begun = [
        change if jump is None else jump + later
        for change, jump in zip(changes, jumps, strict=True)
    ]
    changes = [None if at is None else round(at) for at in begun]
    # A lively scene is soon unlike what it was before the press.
    looks = [
        look if change is None else look_at(series.watch, change - 1, period, idle.drift)
        for look, change in zip(looks, changes, strict=True)
    ]
    guessed = guessed_changes(looks, changes, period)
    places, jumps_s = _times(begun, start_s), _times(jumps, start_s)
    return match(series, todo, looks, idle, evidence, guessed, places, jumps_s)


def _first_changes(
    begins: list[Frame], scores: list[Samples], thresholds: list[float]
) -> list[Frame | None]:
    changes: list[Frame | None] = []
    for begin, score, threshold in zip(begins, scores, thresholds, strict=True):
        change = first_change(score, threshold)
        changes.append(None if change is None else begin + change)
    return changes


def _grows(changes: list[Frame | None], firm: list[Frame | None], period_s: float) -> bool:
    """Tell whether answers are firm only some time after they begin, most of them."""
    later_s = [
        (much - first) * period_s
        for first, much in zip(changes, firm, strict=True)
        if first is not None and much is not None
    ]
    return bool(later_s) and float(np.median(later_s)) > _SAME_JUMP_S


def _later(changes: list[Frame | None], jumps: list[float | None], period_s: float) -> float:
    """Return how many frames after a jump it is first seen to change the picture."""
    later = [
        change - jump
        for change, jump in zip(changes, jumps, strict=True)
        if change is not None and jump is not None
    ]
    near = [frames for frames in later if abs(frames) * period_s <= _AT_JUMP_S]
    return float(np.median(near)) if near else 0.0


def _first_at_jumps(
    changes: list[Frame | None], jumps: list[float | None], period_s: float
) -> bool:
    """Tell whether every press first changes the picture where it jumps, if at all."""
    later = _later(changes, jumps, period_s)
    return all(
        change is jump is None
        or (
            change is not None
            and jump is not None
            and abs(change - jump - later) * period_s <= _SAME_JUMP_S
        )
        for change, jump in zip(changes, jumps, strict=True)
    )


def _begun_before(
    changes: list[Frame | None], jumps: list[float | None], todo: list[Search], period_s: float
) -> bool:
    """Tell whether most answers are seen to begin well before the jump that all share.

    What gathers speed makes its greatest jump some game frames after its first. What a scene
    does by itself precedes the jump by another time at each press, or is there from the lamp on.
    """
    before_s = [
        (jump - change) * period_s
        for change, jump, search in zip(changes, jumps, todo, strict=True)
        if change is not None and jump is not None and change > search.lamp_frame + _SINCE_LAMP
    ]
    if len(before_s) <= _MOST * len(jumps):
        return False
    usual_s = float(np.median(before_s))
    alike = sum(abs(each - usual_s) <= _SAME_JUMP_S for each in before_s)
    return usual_s > _AT_JUMP_S and alike > _MOST * len(jumps)


def _times(frames: Sequence[float | None], start_s: Samples) -> list[float | None]:
    count = np.arange(start_s.size)
    return [None if at is None else float(np.interp(at, count, start_s)) for at in frames]
