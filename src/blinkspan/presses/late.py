"""Answers that come so long after the others that no press can have caused them."""

from dataclasses import replace

import numpy as np

from blinkspan.presses.searching import Answer, Found, Search
from blinkspan.traces.trace import Samples

_FEWEST = 4  # answers before one may be called late
_LATE_S = 0.100  # after the median: some six game frames (common practice: a hitch is shorter)


def without_late_answers(
    found: Found, todo: list[Search], start_s: Samples
) -> tuple[Found, list[float]]:
    """Return the answers without the late ones, and when those came, in the clock of frames.

    A press that went unanswered must not be paired with what happens next on
    the screen. The late change is told as a response without a press, for a
    person to pair after all.
    """
    waits = [
        None if answer is None else answer.fit.at_s - float(start_s[search.lamp_frame])
        for answer, search in zip(found.answers, todo, strict=True)
    ]
    known = [wait for wait in waits if wait is not None]
    if len(known) < _FEWEST:
        return found, []
    limit = float(np.median(known)) + _LATE_S
    kept: list[Answer | None] = []
    late: list[float] = []
    for answer, wait in zip(found.answers, waits, strict=True):
        if answer is not None and wait is not None and wait > limit:
            late.append(answer.fit.at_s)
            answer = None
        kept.append(answer)
    return replace(found, answers=kept), late
