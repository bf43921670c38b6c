"""Search every press for its answer by a pattern learnt from some guesses.

A pattern settles false alarms and finds weak answers. The first guesses are made in
``finding``; ``other_ways`` makes others.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from blinkspan.onsets.alignment import (
    ALIKE,
    Course,
    Fit,
    Template,
    align,
    fit_at,
    scan,
    turned,
    unlike_gain,
)
from blinkspan.onsets.evidence import Evidence
from blinkspan.onsets.idle import Idle
from blinkspan.onsets.look import Frame, Look
from blinkspan.onsets.moving import Moving, moving_course
from blinkspan.onsets.own_look import OwnLooks, own_course, own_looks, own_pattern
from blinkspan.onsets.pattern import UNLIKE, Change, Pattern, common_signs, features, learn_pattern
from blinkspan.onsets.settling import settle
from blinkspan.traces.reduction import Series
from blinkspan.traces.trace import Samples

LONGEST_LATENCY_S = 1.0  # slower than any game answers (common practice)
MARGIN_S = 0.180  # frames kept before and after a search, for the pattern to slide in
LIKE = 0.5  # of the mean answer's strength: below this it is not the same answer
FIRST_S = (0.000, 0.009)  # after the first change: the first look of the answer, roughly
LATER_S = (0.017, 0.050)
_UNLIKE = 0.33  # below this even the moment of first change is not the answer
_SURELY = 0.8
_RIVAL = 0.6  # of the answer's strength: an earlier moment so like it is a second candidate
_APART_S = 0.025
ALIKE_MOVING = 0.15  # of a slide left unexplained by the mean: far slides are read less well
_SLID_FRAMES = 2.0  # from where the shared jump has it, an answer is slid away
_SLACK_FRAMES = 3  # the template's zero may lie before the first visible change


@dataclass(frozen=True, slots=True)
class Search:
    """One press's stretch of film: where the lamp lit and where the search ends, in frames."""

    lamp_frame: Frame
    stop: Frame


@dataclass(frozen=True, slots=True)
class Answer:
    """What a press's search found.

    Attributes
    ----------
    fit : Fit
        Place of the pattern, in the clock of frames.
    rival_s : float | None
        An earlier moment that is somewhat like the answer.
    contested : bool
        Whether the answer fits nearly as well some game frames off.
    """

    fit: Fit
    rival_s: float | None
    contested: bool = False


@dataclass(frozen=True, slots=True)
class Learnt:
    """What the take's own idle time and its presses taught.

    ``own`` where each press answers in a place of its own; the pattern is then empty.
    ``moving`` where the answers are told by how far the view has slid; ``jumps_s`` where all
    presses share a jump: when each makes it, in the clock of frames, all alike early or late.
    """

    looks: list[Look]
    idle: Idle
    evidence: Evidence
    pattern: Pattern
    template: Template
    own: OwnLooks | None = None
    moving: Moving | None = None
    jumps_s: list[float | None] | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """All answers of a take, None for a press without one, and what they were found by.

    ``learnt`` is None, and ``courses`` empty, where nothing in the take answers anything.
    """

    answers: list[Answer | None]
    courses: list[Course]
    learnt: Learnt | None


def searches(start_s: Samples, lamp_frames: list[Frame], period_s: float) -> list[Search]:
    """Return where to look for each press: until the longest latency or the next press's answer."""
    n = start_s.size
    longest = round(LONGEST_LATENCY_S / period_s)
    ends = [*lamp_frames[1:], n]
    return [
        Search(frame, min(n, frame + longest, max(end, frame + 4)))
        for frame, end in zip(lamp_frames, ends, strict=True)
    ]


def guessed_changes(
    looks: list[Look], changes: Sequence[Frame | None], period_s: float
) -> list[Change | None]:
    """Return where each answer can be seen, if its first change is where it seems."""
    return [
        None
        if frame is None
        else Change(
            look, frames_after(frame, FIRST_S, period_s), frames_after(frame, LATER_S, period_s)
        )
        for look, frame in zip(looks, changes, strict=True)
    ]


def places_of(changes: Sequence[Frame | None], start_s: Samples) -> list[float | None]:
    """Return frames as times, in the clock of frames."""
    return [None if frame is None else float(start_s[frame]) for frame in changes]


def find_again(
    series: Series,
    todo: list[Search],
    found: Found,
    whole_s: list[tuple[float, float] | None],
    early_s: float,
) -> Found:
    """Return the answers found anew, with the pattern learnt where its first look is whole.

    Parameters
    ----------
    found : Found
        From ``find_answers``.
    whole_s : list of (from, until) or None
        For each press, when every row shows the first look of the answer and
        nothing later yet, in the clock of frames.
    early_s : float
        By how much all answers were placed before they begin.
    """
    if found.learnt is None:
        return found
    start_s, period = series.clock.start_s, series.clock.period_s
    changes: list[Change | None] = []
    places: list[float | None] = []
    for answer, look, whole in zip(found.answers, found.learnt.looks, whole_s, strict=True):
        if answer is None or whole is None:
            changes.append(None)
            places.append(None)
            continue
        first = int(np.searchsorted(start_s, whole[0]))
        stop = max(first + 1, int(np.searchsorted(start_s, whole[1])))
        changes.append(Change(look, (first, stop), frames_after(first, LATER_S, period)))
        places.append(answer.fit.at_s + early_s)
    learnt = found.learnt
    given = series, todo, learnt.looks, learnt.idle, learnt.evidence
    if learnt.own is not None:
        own = own_looks(series.watch, series.watch_row_px, learnt.idle, changes, sure=True)
        if own is None:
            return found
        return match_own(*given, replace(own, one_place=learnt.own.one_place), places)
    if learnt.moving is not None:
        template, answers = aligned(found.courses, places, todo, start_s, period, ALIKE_MOVING)
        return replace(found, answers=answers, learnt=replace(learnt, template=template))
    return match(*given, changes, places, learnt.jumps_s)


def settled(series: Series, todo: list[Search], found: Found, game_frame_s: float) -> Found:
    """Return the answers moved by whole game frames where all of their course fits better so."""
    if found.learnt is None:
        return found
    start_s, period = series.clock.start_s, series.clock.period_s
    answered = [(k, answer) for k, answer in enumerate(found.answers) if answer is not None]
    jumps_s = found.learnt.jumps_s
    template, places = settle(
        [found.courses[k] for k, _ in answered],
        [answer.fit for _, answer in answered],
        [float(start_s[todo[k].lamp_frame]) - _SLACK_FRAMES * period for k, _ in answered],
        found.learnt.template,
        game_frame_s,
        period,
        [jumps_s is None or jumps_s[k] is None for k, _ in answered],
    )
    answers = list(found.answers)
    for (k, answer), place in zip(answered, places, strict=True):
        answers[k] = replace(answer, fit=place.fit, contested=place.contested)
    return replace(found, answers=answers, learnt=replace(found.learnt, template=template))


def frames_after(
    frame: Frame, after_s: tuple[float, float], period_s: float
) -> tuple[Frame, Frame]:
    """Return the frames, first and stop, that lie between two times after one."""
    return frame + round(after_s[0] / period_s), frame + round(after_s[1] / period_s) + 1


def match(
    series: Series,
    todo: list[Search],
    looks: list[Look],
    idle: Idle,
    evidence: Evidence,
    changes: list[Change | None],
    places_s: list[float | None],
    jumps_s: list[float | None] | None = None,
) -> Found:
    """Return the answers that the pattern of the given changes finds."""
    film, start_s, period = series.watch, series.clock.start_s, series.clock.period_s
    shown = [c for c in changes if c is not None]
    pattern = learn_pattern(film, series.watch_row_px, idle, shown, looks_only=jumps_s is not None)
    courses = [
        course_of(series, *stretch, look, idle, pattern)
        for stretch, look in zip(stretches(todo, period), looks, strict=True)
    ]
    placed = [k for k, at in enumerate(places_s) if at is not None]
    guesses = [at for at in places_s if at is not None]
    if jumps_s is None:
        signs = signs_of([courses[k] for k in placed], guesses)
        for k, sign in zip(placed, signs, strict=True):
            courses[k] = turned(courses[k], sign)
    sure = None if jumps_s is None else [at is not None for at in jumps_s]
    template, answers = aligned(courses, places_s, todo, start_s, period, sure=sure)
    learnt = Learnt(looks, idle, evidence, pattern, template, jumps_s=jumps_s)
    return Found(answers, courses, learnt)


def match_own(
    series: Series,
    todo: list[Search],
    looks: list[Look],
    idle: Idle,
    evidence: Evidence,
    own: OwnLooks,
    places_s: list[float | None],
) -> Found:
    """Return the answers that each press's own look finds."""
    film, start_s, period = series.watch, series.clock.start_s, series.clock.period_s
    courses = [
        own_course(film, start_s, stretch, look, idle, own, k)
        for k, (stretch, look) in enumerate(zip(stretches(todo, period), looks, strict=True))
    ]
    template, answers = aligned(courses, places_s, todo, start_s, period)
    pattern = own_pattern(own, idle.sd.shape)
    return Found(answers, courses, Learnt(looks, idle, evidence, pattern, template, own))


def stretches(todo: list[Search], period_s: float) -> list[tuple[Frame, Frame]]:
    """Return each search with its margins, in frames."""
    margin = round(MARGIN_S / period_s)
    return [(s.lamp_frame - margin, s.stop + margin) for s in todo]


def aligned(
    courses: list[Course],
    places_s: list[float | None],
    todo: list[Search],
    start_s: Samples,
    period: float,
    alike: float = ALIKE,
    sure: Sequence[bool] | None = None,
) -> tuple[Template, list[Answer | None]]:
    """Return the mean course of the presses placed, and every press's answer by it.

    Presses that are ``sure`` of their place stay near it, all slid alike; none is where that
    is left out.
    """
    placed = [k for k, at in enumerate(places_s) if at is not None]
    guesses = [at for at in places_s if at is not None]
    template, fits = align(
        [courses[k] for k in placed], guesses, period, alike, as_guessed=sure is not None
    )
    first_fit = dict(zip(placed, fits, strict=True))
    slid_s = {k: first_fit[k].at_s - guess for k, guess in zip(placed, guesses, strict=True)}
    usual_s = float(np.median([slid_s[k] for k in placed if sure and sure[k]] or [0.0]))
    answers: list[Answer | None] = []
    for k, course in enumerate(courses):
        fit = first_fit.get(k)
        if fit is None or not (sure and sure[k]):
            answers.append(_answer(course, template, fit, todo[k], start_s, period))
            continue
        if abs(slid_s[k] - usual_s) > _SLID_FRAMES * period:
            fit = fit_at(course, template, fit.at_s - slid_s[k] + usual_s)
        answers.append(Answer(fit, None))
    return template, answers


def signs_of(courses: list[Course], guesses_s: list[float]) -> list[int]:
    """Return which courses answer the other way round, seen in their features after the guess."""
    after = []
    for course, at in zip(courses, guesses_s, strict=True):
        use = (course.start_s >= at + LATER_S[0]) & (course.start_s <= at + LATER_S[1])
        seen = course.values[use][..., :UNLIKE]
        # Pictures may be missing for as long as that; what was not seen speaks for no sign.
        after.append((seen.mean(axis=0) if use.any() else np.zeros(seen.shape[1:])).ravel())
    return common_signs(np.stack(after))


def course_of(
    series: Series, first: Frame, stop: Frame, look: Look, idle: Idle, pattern: Pattern
) -> Course:
    """Return the features of a stretch of the take against one look."""
    a, b = max(0, first), min(series.clock.start_s.size, stop)
    return Course(series.clock.start_s[a:b], features(series.watch, a, b, look, idle, pattern))


def answer_course(
    series: Series, stretch: tuple[Frame, Frame], look: Look, learnt: Learnt
) -> Course:
    """Return a stretch of the take as what was learnt tells answers by."""
    if learnt.moving is not None:
        return moving_course(series.watch, series.clock.start_s, stretch, look, learnt.moving)
    return course_of(series, *stretch, look, learnt.idle, learnt.pattern)


def _answer(
    course: Course,
    template: Template,
    first: Fit | None,
    search: Search,
    start_s: Samples,
    period: float,
) -> Answer | None:
    """Return the press's answer: where it aligned, else the earliest moment like the pattern."""
    times = np.arange(
        start_s[search.lamp_frame] - _SLACK_FRAMES * period,
        start_s[search.stop - 1] + period / 2,
        period,
    )
    peaks = _peaks(times, scan(course, template, times))
    fit = first
    if fit is not None and template.alike and fit.gain < _SURELY:
        # Presses that answer alike answer as strongly: another place may be the right one.
        better = [at for at, gain in peaks if _SURELY <= gain <= 1 / _SURELY]
        if better:
            fit = fit_at(course, template, better[0])
    if fit is None or max(fit.gain, unlike_gain(course, template, fit.at_s)) < _UNLIKE:
        like = [at for at, gain in peaks if LIKE <= gain <= 1 / LIKE]
        if not like:
            return None
        fine = like[0] + np.arange(-1.5, 1.5, 0.125) * period
        fit = fit_at(course, template, float(fine[int(np.argmax(scan(course, template, fine)))]))
    earlier = [at for at, gain in peaks if at < fit.at_s - _APART_S and gain >= _RIVAL * fit.gain]
    return Answer(fit, earlier[0] if earlier else None)


def _peaks(times: Samples, gains: Samples) -> list[tuple[float, float]]:
    inner = np.flatnonzero(
        (gains[1:-1] >= gains[:-2]) & (gains[1:-1] > gains[2:]) & (gains[1:-1] >= _RIVAL * LIKE)
    )
    return [(float(times[k + 1]), float(gains[k + 1])) for k in inner]
