"""Slide the presses' answers over each other until they agree.

All presses of a take answer alike, only sooner or later. The mean course of
the features, each press shifted by its own time, is the template; each press
is then shifted to fit the template best; and so on until nothing moves.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import as_strided

from blinkspan.onsets.pattern import UNLIKE, Features
from blinkspan.traces.trace import Samples

_STEPS_A_FRAME = 8
_REACHES_FRAMES = (10.0, 4.0, 2.0, 2.0)  # how far a press may move, round after round
_NEAR_FRAMES = 2.0
ALIKE = 0.05  # of a course left unexplained by the mean: more, and no two answers look alike
_COURSE_DOUBT = 0.1  # of the course itself
_COURSE_LOST_S = 0.040  # where the course is doubted, by its whole size after this long
_LEAST_GAIN, _GAIN_DOUBT = 0.4, 0.3
_BEFORE_FRAMES = 30
_REST = 0.6  # of the stretch before the first change: slow answers begin well before they show
_AFTER_S = 0.060  # later than this games differ: effects end, frames drop


@dataclass(frozen=True, slots=True)
class Course:
    """One press's features around its answer: values (m, bands, FEATURES) at start_s (m,)."""

    start_s: Samples
    values: Features


def turned(course: Course, sign: int) -> Course:
    """Return the course of the opposite answer as if it were the usual one."""
    values = course.values.copy()
    values[..., :UNLIKE] *= sign
    return Course(course.start_s, values)


@dataclass(frozen=True, slots=True)
class Template:
    """The mean course: values (k, bands, FEATURES) at times after_s (k,) from the answer.

    ``alike`` tells that the presses follow it closely, strength included.
    """

    after_s: Samples
    values: Features
    alike: bool = True


@dataclass(frozen=True, slots=True)
class Fit:
    """How one press fits the template.

    Attributes
    ----------
    at_s : float
        Where the template's zero falls.
    gain : float
        1 where the press answers as strongly as the mean.
    strength : float
        The template's length times gain: idle standard deviations of the whole answer.
    """

    at_s: float
    gain: float
    strength: float


def align(
    courses: list[Course],
    guesses_s: list[float],
    period_s: float,
    alike: float = ALIKE,
    *,
    as_guessed: bool = False,
) -> tuple[Template, list[Fit]]:
    """Return the template and each course's fit to it; guesses are times of first change.

    ``alike`` is the share of a course that the mean may leave unexplained, where answers
    are to count as alike.

    Answers that look alike every time are slid by their whole course, strength
    included. Where that leaves much unexplained (turning the view shows
    something else each time), either the first change of each is trusted as it
    is, or courses are slid by their leaving of rest alone: whichever makes the
    mean course steeper, for what is aligned well rises in sharp steps. ``as_guessed`` tells
    that the guesses are to be trusted then.
    """
    guesses = np.array(guesses_s)
    template, at = _slide(courses, guesses, period_s, doubted=False)
    left = [_unexplained(c, template, float(t)) for c, t in zip(courses, at, strict=True)]
    if np.median(left) > alike:
        template, at = mean_course(courses, guesses, period_s), guesses
        if not as_guessed:
            slid = _slide(courses, guesses, period_s, doubted=True)
            template, at = max(slid, (template, at), key=lambda pair: _steepness(pair[0], period_s))
        template = replace(template, alike=False)
    return template, [fit_at(c, template, float(t)) for c, t in zip(courses, at, strict=True)]


def still_rising(template: Template) -> bool:
    """Tell whether the answer is still growing where the template ends."""
    level = np.sqrt((template.values**2).sum(axis=(1, 2)))
    last = template.after_s > 0.7 * template.after_s[-1]
    return bool(level[-1] > 1.1 * level[last][0])


def _steepness(template: Template, period_s: float) -> float:
    """Return how concentrated the rise of the mean course is."""
    level = np.sqrt((template.values**2).sum(axis=(1, 2)))
    run = max(1, round(period_s / (template.after_s[1] - template.after_s[0])))
    rise = level[run:] - level[:-run]
    return float((rise**2).sum() / max(float(level.max()) ** 2, 1e-12))


def _slide(
    courses: list[Course], at: Samples, period_s: float, doubted: bool
) -> tuple[Template, Samples]:
    template = mean_course(courses, at, period_s)
    for reach in _REACHES_FRAMES:
        # Far moves need no fine steps: the next round makes them.
        steps = _STEPS_A_FRAME if reach <= _NEAR_FRAMES else _STEPS_A_FRAME / 4
        shifts = np.arange(-reach, reach + 1e-9, 1.0 / steps) * period_s
        moved = np.array(
            [_best(c, template, t + shifts, doubted) for c, t in zip(courses, at, strict=True)]
        )
        at = moved + (np.median(at) - np.median(moved))  # the template itself must not wander
        template = mean_course(courses, at, period_s)
    return template, at


def _unexplained(course: Course, template: Template, at_s: float) -> float:
    """Return the share of a course that the template leaves over."""
    _, model, data = _overlap(course, template, at_s)
    return float(((data - model) ** 2).sum() / max(1e-9, float((model**2).sum())))


def unlike_gain(course: Course, template: Template, at_s: float) -> float:
    """Return the gain of the one feature that has no sign and no look: being unlike before."""
    return fit_at(
        Course(course.start_s, course.values[..., UNLIKE:]),
        Template(template.after_s, template.values[..., UNLIKE:]),
        at_s,
    ).gain


def fit_at(course: Course, template: Template, at_s: float) -> Fit:
    """Return how the course fits the template placed at a time."""
    use, model, data = _overlap(course, template, at_s)
    power = float((model**2).sum())
    if not use.any() or power == 0.0:
        return Fit(at_s, 0.0, 0.0)
    gain = float((model * data).sum()) / power
    return Fit(at_s, gain, gain * power**0.5)


def scan(course: Course, template: Template, at_s: Samples) -> Samples:
    """Return the gain of the template at each of many evenly spaced times, shape as ``at_s``.

    One pass of a sliding product: the course is read at the times' own spacing.
    """
    step = float(at_s[1] - at_s[0])
    after = np.arange(template.after_s[0], template.after_s[-1], step)
    model = interpolated(template, after).reshape(after.size, -1)
    power = float((model**2).sum())
    # Taking its rest off every stretch of the course is to take the model's mean off the rest.
    resting = after < template.after_s[0] * _REST
    model[resting] -= model.sum(axis=0) / np.count_nonzero(resting)
    times = at_s[0] + template.after_s[0] + step * np.arange(after.size + at_s.size - 1)
    sampled = _sampled(course, times).reshape(times.size, -1)
    # Row n of these products holds sample n by every sample of the model; a place is a diagonal.
    products = sampled @ model.T
    along, across = products.strides
    diagonals = as_strided(products, (at_s.size, after.size), (along, along + across))
    gains: Samples = diagonals.sum(axis=1) / max(power, 1e-12)
    return gains


def _overlap(course: Course, template: Template, at_s: float) -> tuple[Samples, Features, Features]:
    after = course.start_s - at_s
    use = (after >= template.after_s[0]) & (after <= template.after_s[-1])
    model = interpolated(template, after[use])
    data = course.values[use]
    early = after[use] < template.after_s[0] * _REST
    if early.sum() >= 3:
        data = data - data[early].mean(axis=0)
    return use, model, data


def interpolated(template: Template, after_s: Samples) -> Features:
    """Return the template at some times from its zero; beyond its ends it stays as it is."""
    return _between(template.values, _places(template, after_s))


def laid_over(template: Template, data: Features, after_s: Samples) -> tuple[Samples, Samples]:
    """Return the template's product with a course and with itself, laid in many ways over it.

    The course is multiplied with the whole template once; what lies between the
    template's samples is then read off the products, not off the features.

    Parameters
    ----------
    template : Template
    data : ndarray, shape (n, bands, features)
    after_s : ndarray, shape (ways, n)
        The time of each of the course's samples from the template's zero, in each way.

    Returns
    -------
    along, power : ndarray, shape (ways,)
    """
    model = template.values.reshape(template.values.shape[0], -1)
    place = _places(template, after_s)
    low = np.minimum(place.astype(np.intp), model.shape[0] - 2)
    high, share = low + 1, place - low
    products = data.reshape(data.shape[0], -1) @ model.T
    sample = np.arange(data.shape[0])
    below, above = products[sample, low], products[sample, high]
    along: Samples = (below + (above - below) * share).sum(axis=1)
    own = np.vecdot(model, model)
    neighbours = np.vecdot(model[:-1], model[1:])
    power: Samples = (
        (1 - share) ** 2 * own[low]
        + 2 * share * (1 - share) * neighbours[low]
        + share**2 * own[high]
    ).sum(axis=1)
    return along, power


def _places(template: Template, after_s: Samples) -> Samples:
    """Return where times from the template's zero lie among its samples, as broken numbers."""
    step = template.after_s[1] - template.after_s[0]
    places: Samples = np.clip((after_s - template.after_s[0]) / step, 0, template.after_s.size - 1)
    return places


def _best(course: Course, template: Template, at_s: Samples, doubted: bool) -> float:
    """Return the time of least misfit over a fixed stretch of the course, refined between steps."""
    lo, hi = at_s[0] + template.after_s[0] * 0.9, at_s[-1] + template.after_s[-1] * 0.75
    use = (course.start_s >= lo) & (course.start_s <= hi)
    data, times = course.values[use], course.start_s[use]
    early = times < at_s[0] + template.after_s[0] * _REST * 0.6
    if early.sum() >= 3:
        data = data - data[early].mean(axis=0)
    after = times - at_s[:, None]
    misfit = (_doubted_misfits if doubted else _misfits)(data, template, after)
    k = int(np.argmin(misfit))
    if 0 < k < misfit.size - 1:
        left, here, right = misfit[k - 1 : k + 2]
        bend = left - 2 * here + right
        if bend > 0:
            return float(at_s[k] + 0.5 * (left - right) / bend * (at_s[1] - at_s[0]))
    return float(at_s[k])


def _misfits(data: Features, template: Template, after_s: Samples) -> Samples:
    """Return the squared misfit of a course to the template laid over it in each way."""
    along, power = laid_over(template, data, after_s)
    misfits: Samples = (data**2).sum() - 2 * along + power
    return misfits


def _doubted_misfits(data: Features, template: Template, after_s: Samples) -> Samples:
    """Return minus twice the log likelihood of a course in each way, up to a constant.

    The course is scaled to fit, within reason, and doubted the more the later: what
    counts is where it leaves its rest. Its features are far from independent, so that
    a frame counts as one sample, not as many.
    """
    models = interpolated(template, after_s.ravel()).reshape(*after_s.shape, *data.shape[1:])
    doubt = _COURSE_DOUBT + np.maximum(after_s, 0.0) / _COURSE_LOST_S
    variance = 1.0 + (doubt[..., None, None] * models) ** 2
    power = (models * models / variance).sum(axis=(1, 2, 3))
    along = (models * data / variance).sum(axis=(1, 2, 3))
    gain = np.divide(along, power, out=np.ones_like(power), where=power > 0)
    gain = np.clip(gain, _LEAST_GAIN, 1 / _LEAST_GAIN)
    left = data - gain[:, None, None, None] * models
    likely = (left**2 / variance + np.log(variance)).mean(axis=(2, 3)).sum(axis=1)
    misfits: Samples = likely + (np.log(gain) / _GAIN_DOUBT) ** 2
    return misfits


def mean_course(
    courses: list[Course],
    at_s: Samples,
    period_s: float,
    *,
    alike: bool = True,
    until_s: float = _AFTER_S,
) -> Template:
    """Return the template of courses that answer at the given times."""
    after = np.arange(-_BEFORE_FRAMES * period_s, until_s, period_s / _STEPS_A_FRAME)
    stack = np.stack([_sampled(course, t + after) for course, t in zip(courses, at_s, strict=True)])
    middle = np.median(stack, axis=0) if len(courses) >= 5 else stack.mean(axis=0)
    rest = middle[after < after[0] * _REST].mean(axis=0)
    return Template(after, middle - rest, alike)


def _sampled(course: Course, times: Samples) -> Features:
    """Return the course at some times; beyond its ends it stays as it is."""
    place = np.interp(times, course.start_s, np.arange(course.start_s.size))
    return _between(course.values, place)


def _between(values: Features, place: Samples) -> Features:
    """Return values at broken places among them, along straight lines."""
    low = np.minimum(place.astype(np.intp), max(0, values.shape[0] - 2))
    share = (place - low)[:, None, None]
    lower = values[low]
    between: Features = values[np.minimum(low + 1, values.shape[0] - 1)]
    between -= lower
    between *= share
    between += lower
    return between
