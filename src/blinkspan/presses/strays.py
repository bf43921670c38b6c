"""Answers that no press asked for: the action's pattern, seen outside every press."""

import numpy as np

from blinkspan.onsets.alignment import scan, still_rising
from blinkspan.onsets.drift import look_at
from blinkspan.onsets.evidence import first_change, score_of
from blinkspan.presses.searching import LIKE, MARGIN_S, Found, Search, answer_course
from blinkspan.traces.reduction import Series

_AFTERMATH_S = 0.25  # an answer's own course is no second answer
# What is seen within so long after the answers to so many of the presses belongs to them: the
# end of a turn, the control let go.
_SEQUEL_S, _SEQUELS, _FEWEST_SEQUELS = 1.0, 0.5, 3
_STRETCH_S = 0.1
_AS_LARGE = 0.5  # of the score the answers reach as a rule


def stray_answers(series: Series, todo: list[Search], found: Found) -> list[float]:
    """Return when the pattern begins outside every press, in the clock of frames."""
    if found.learnt is None or not any(found.answers):  # what was learnt is then no answer's
        return []
    if found.learnt.own is not None and found.learnt.own.one_place:
        return []
    film, start_s, period = series.watch, series.clock.start_s, series.clock.period_s
    learnt, n = found.learnt, start_s.size
    busy = np.zeros(n, bool)
    # Answers that never look alike, and those that take their time (a menu fading in), are
    # told from their own aftermath by waiting longer.
    brief = learnt.template.alike and not still_rising(learnt.template)
    aftermath_s = _AFTERMATH_S if brief else 4 * _AFTERMATH_S
    after = round(aftermath_s / period)
    for search, answer in zip(todo, found.answers, strict=True):
        end = search.stop
        if answer is not None:
            end = min(n, int(np.searchsorted(start_s, answer.fit.at_s)) + after)
        busy[max(0, search.lamp_frame - 2) : end] = True
    margin, stretch = round(MARGIN_S / period), round(_STRETCH_S / period)
    strays: list[float] = []
    usual = _usual_score(series, todo, found) if learnt.own is not None else 0.0
    for first in range(margin, n - stretch, stretch):
        if busy[first : first + stretch].any():
            continue
        if strays and start_s[first] - strays[-1] < aftermath_s:
            continue
        look = look_at(film, first, period, learnt.idle.drift)
        stop = min(n, first + stretch + 2)
        score = score_of(film, first, stop, look, learnt.idle, learnt.evidence)
        change = first_change(score, learnt.evidence.threshold)
        if change is None:
            continue
        if learnt.own is not None:  # with no look in common, any change as large is like them
            if score.max() > _AS_LARGE * usual:
                strays.append(float(start_s[first + change]))
            continue
        course = answer_course(series, (first - margin, first + stretch + margin), look, learnt)
        times = start_s[first + change] + np.arange(-8, 3, 0.5) * period
        gains = scan(course, learnt.template, times)
        best = int(np.argmax(gains))
        if gains[best] >= LIKE:
            strays.append(float(times[best]))
    return _without_sequels(strays, [a.fit.at_s for a in found.answers if a is not None])


def _without_sequels(strays: list[float], answers_s: list[float]) -> list[float]:
    """Return the strays that are no part of what most presses are answered with."""
    before_s = [max((at for at in answers_s if at < stray), default=-np.inf) for stray in strays]
    since_s = [stray - at for stray, at in zip(strays, before_s, strict=True)]
    sequels = sum(each < _SEQUEL_S for each in since_s)
    if sequels < max(_FEWEST_SEQUELS, _SEQUELS * len(answers_s)):
        return strays
    return [stray for stray, each in zip(strays, since_s, strict=True) if each >= _SEQUEL_S]


def _usual_score(series: Series, todo: list[Search], found: Found) -> float:
    """Return the greatest score after a press, as a median."""
    learnt = found.learnt
    assert learnt is not None  # there are answers, so something was learnt
    scores = [
        score_of(series.watch, s.lamp_frame, s.stop, look, learnt.idle, learnt.evidence).max()
        for s, look in zip(todo, learnt.looks, strict=True)
    ]
    return float(np.median(scores))
