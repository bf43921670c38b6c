"""Whether the first change after each press is already its answer, told by all of them.

Over a calm scene it is, whatever the action goes on to do: a view that turns ever on, or a
menu that glides in, jumps most some game frames later, and never twice alike. Over a lively
one the first change is often the scene's own. But that comes at any time, answers within a
game frame or so of each other; and what the scene does by itself it does before the lamp too.
"""

import math
from collections.abc import Sequence

from blinkspan.onsets.drift import look_at
from blinkspan.onsets.evidence import Evidence, first_change, score_of
from blinkspan.onsets.idle import Idle
from blinkspan.onsets.look import REFERENCE_S, Frame
from blinkspan.presses.searching import Search
from blinkspan.traces.reduction import Series

_FEWEST = 5  # presses: fewer agree by chance
# Of the presses, so many first change the picture within one game frame of each other, at 30 a
# second and unevenly shown; in a scene never as before that may be at once, as soon after the lamp.
_MOST, _WITHIN_S, _AT_ONCE_S = 0.75, 0.050, 0.010
# Of the presses: before so many lamps a scene may have a change of its own, and after so many
# one that is sooner than all the others'.
_BY_ITSELF, _SOONER = 0.25, 0.1


def answering_changes(
    series: Series,
    todo: Sequence[Search],
    changes: Sequence[Frame | None],
    idle: Idle,
    evidence: Evidence,
    threshold: float,
) -> list[Frame | None] | None:
    """Return the first changes if they come at one wait after the lamp, and hardly ever before it.

    None where they do not. A press that changes the picture sooner than the others do (an
    encoder drew it anew, say) is held against its look when they begin to.

    Parameters
    ----------
    series : Series
    todo : sequence of Search
    changes : sequence of (int or None)
        The frame of each press's first change.
    idle : Idle
    evidence : Evidence
    threshold : float
        Of the score, above which a change was counted.
    """
    if len(todo) < _FEWEST:
        return None
    film, period_s = series.watch, series.clock.period_s
    waits = sorted(
        change - search.lamp_frame
        for change, search in zip(changes, todo, strict=True)
        if change is not None
    )
    most = math.ceil(_MOST * len(todo))
    stretches = list(zip(waits, waits[most - 1 :], strict=False))
    if not stretches:
        return None
    soonest, latest = min(stretches, key=lambda ends: ends[1] - ends[0])
    if (latest - soonest) * period_s > _WITHIN_S or soonest * period_s <= _AT_ONCE_S:
        return None

    def changed(first: Frame, stop: Frame) -> Frame | None:
        look = look_at(film, first, period_s, idle.drift)
        found = first_change(score_of(film, first, stop, look, idle, evidence), threshold)
        return None if found is None else first + found

    lamps = [search.lamp_frame for search in todo]
    by_itself = sum(
        lamp - latest >= REFERENCE_S / period_s and changed(lamp - latest, lamp) is not None
        for lamp in lamps
    )
    if by_itself > _BY_ITSELF * len(todo):
        return None
    least = max(0, latest - round(_WITHIN_S / period_s))
    if sum(wait < least for wait in waits) > _SOONER * len(todo):
        return None
    return [
        changed(search.lamp_frame + least, search.stop)
        if change is not None and change - search.lamp_frame < least
        else change
        for change, search in zip(changes, todo, strict=True)
    ]
