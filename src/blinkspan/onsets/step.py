"""The instant the panel begins to show the answer, far below a frame.

A panel answers a new game frame with a step, softened by its own exponential
response, and each exposure averages what falls into it. All presses of a take
see the same panel, so its response time, the slant of the answer over the rows
and the strength in each row band are fitted once, over all presses together;
then each press is placed by itself, with the probability of every placement.

In the clock of frames a row ``y`` answers ``slant * (y - y0)`` later than row
``y0``: the scan-out runs down the panel, less the camera's own readout.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from blinkspan.onsets.alignment import Course, Fit, Template
from blinkspan.quantities import Measured
from blinkspan.traces.trace import Samples

_LONGEST_RESPONSE_S = 0.012
_PRIORS = 2  # residuals that hold exposure and slant near what is known beforehand
_MODEL_DOUBT = 0.02  # of the step: what a single exponential and flat steps leave out
# Of the step, for a frame half way up it: encoders blur what one frame alone shows
# (measured on staged takes, quality 20 at 640x360: 0.01 to 0.03).
_PARTIAL_DOUBT = 0.03


@dataclass(frozen=True, slots=True)
class Camera:
    """What the step fit needs of the camera: period and exposure, seconds."""

    period_s: float
    exposure_s: Measured


@dataclass(frozen=True, slots=True)
class Bands:
    """Where each row band's change sits in the picture, and how far its rows reach (sd)."""

    row_px: Samples
    spread_px: Samples

    def below(self, row_px: float) -> "Bands":
        """Return the bands counted from a row."""
        return Bands(self.row_px - row_px, self.spread_px)


@dataclass(frozen=True, slots=True)
class Step:
    """The step all presses share, and where it begins for each.

    Attributes
    ----------
    row_px : float
        The row at which instants are stated.
    begins_s : ndarray, shape (presses,)
        In the clock of frames.
    shared_u_s : float
        Standard uncertainty of all these instants together.
    response_s : float
        Time constant of the panel; 0 where it is too fast to see.
    slant_s_per_px, exposure_s : Measured
    direction : ndarray, shape (bands, 4)
        The features' first look in each band, unit length.
    strength : ndarray, shape (bands,)
        Step height per band in idle standard deviations; 0 where unseen.
    misfit : float
        Residual scatter over the idle scatter; 1 where the model is complete.
    """

    row_px: float
    begins_s: Samples
    shared_u_s: float
    response_s: float
    slant_s_per_px: Measured
    exposure_s: Measured
    direction: Samples
    strength: Samples
    misfit: float


def gathered(after_s: Samples, exposure_s: float, response_s: float) -> Samples:
    """Return the share of a full step that exposures starting ``after_s`` from it gather.

    The integral of ``1 - exp(-t / response_s)`` over the exposure, by the exposure.

    Examples
    --------
    >>> gathered(np.array([-0.003, -0.001, 0.001]), 0.002, 0.0).tolist()
    [0.0, 0.5, 1.0]
    """
    a, b = np.maximum(after_s, 0.0), np.maximum(after_s + exposure_s, 0.0)
    lit: Samples = b - a
    if response_s > 1e-6:
        lit = lit - response_s * (np.exp(-a / response_s) - np.exp(-b / response_s))
    share: Samples = lit / exposure_s
    return share


def gathered_in_band(
    after_s: Samples, spread_s: Samples, exposure_s: float, response_s: float
) -> Samples:
    """Return the same for a band whose rows answer over a little time.

    ``spread_s`` is the standard deviation of the rows' instants; three equal
    parts at -1, 0 and 1 times sqrt(3/2) of it have the same mean and variance.
    """
    reach = 1.2247448714 * spread_s
    total: Samples = (
        gathered(after_s - reach, exposure_s, response_s)
        + gathered(after_s, exposure_s, response_s)
        + gathered(after_s + reach, exposure_s, response_s)
    )
    return total / 3.0


def first_departure(template: Template, frames_s: float) -> float:
    """Return the time at which the template clearly leaves its rest.

    Raises
    ------
    ValueError
        It never does.
    """
    power = (template.values**2).sum(axis=(1, 2))
    rest = power[template.after_s < -5 * frames_s]
    level = max(float(rest.mean() + 8 * rest.std()), 0.01 * float(power.max()))
    above = power > level
    run = max(2, round(frames_s / (template.after_s[1] - template.after_s[0])))
    for k in np.flatnonzero(above[: above.size - run]):
        if above[k : k + run].all():
            return float(template.after_s[k])
    raise ValueError("the template never leaves its rest")


def fit_step(
    courses: list[Course],
    fits: list[Fit],
    template: Template,
    bands: Bands,
    row_px: float,
    camera: Camera,
    hold_s: float,
    slants_s_per_px: list[Measured],
) -> Step:
    """Return the step all presses share.

    Parameters
    ----------
    courses, fits : one each a press, at least one
    template : Template
    bands : Bands
    row_px : float
        The row at which the step is stated.
    camera : Camera
    hold_s : float
        How long a game frame stays: only this long after the step is it a step.
    slants_s_per_px : list of Measured
        What the slant may be beforehand; the one that fits best wins.
    """
    departure = first_departure(template, camera.period_s)
    found = [
        _Joint(
            courses, fits, template, bands.below(row_px), camera, hold_s, slant, departure
        ).solve(row_px)
        for slant in slants_s_per_px
    ]
    return min(found, key=lambda pair: pair[0])[1]


class _Joint:
    """One least-squares problem: every press's begin, and the step they share.

    The heights in each band are linear and solved inside (variable projection),
    so that the search runs over times only.
    """

    def __init__(
        self,
        courses: list[Course],
        fits: list[Fit],
        template: Template,
        bands: Bands,
        camera: Camera,
        hold_s: float,
        slant: Measured,
        departure: float,
    ) -> None:
        period = camera.period_s
        self.camera, self.hold_s = camera, hold_s
        below = self.below = bands.row_px
        self.row_spread = bands.spread_px
        # The first band to answer is the one that departs.
        zero = departure - float((slant.value * below).min()) + 0.3 * period
        direction = _first_look(template, zero + slant.value * below, period, hold_s)
        strength = np.linalg.norm(direction, axis=1)
        self.seen = strength > 0.15 * strength.max()
        self.strength = np.where(self.seen, strength, 0.0)
        self.unit = direction / np.maximum(strength, 1e-9)[:, None]
        self.start = np.array([fit.at_s + zero for fit in fits])
        self.slant = slant
        self.first = np.array([0.0005, slant.value, camera.exposure_s.value])
        times, heights, press, band = [], [], [], []
        for k, (course, fit) in enumerate(zip(courses, fits, strict=True)):
            if not 0.5 < fit.gain < 2.0:
                continue
            along = np.einsum("mbq,bq->mb", course.values, self.unit) / fit.gain
            for b in np.flatnonzero(self.seen):
                after = course.start_s - self.start[k] - slant.value * below[b]
                use = (after > -10 * period) & (after < hold_s + 3 * period)
                rest = (after > -10 * period) & (after < -2.5 * period)
                level = along[rest, b].mean() if rest.sum() >= 3 else 0.0
                times.append(course.start_s[use])
                heights.append(along[use, b] - level)
                press.append(np.full(int(use.sum()), k))
                band.append(np.full(int(use.sum()), b))
        self.t, self.r = np.concatenate(times), np.concatenate(heights)
        self.press, self.band = np.concatenate(press), np.concatenate(band)
        self.noise = _doubt(self.r, self.strength[self.band])

    def solve(self, row_px: float) -> tuple[float, Step]:
        """Return the mean squared residual and the step."""
        period, count = self.camera.period_s, self.start.size
        widest = max(abs(self.first[1]) * 2.0, 0.020 / max(1.0, float(np.ptp(self.below))))
        start = np.concatenate([self.start, self.first])
        lower = np.concatenate([self.start - 4 * period, [0.0, -widest, 0.03 * period]])
        upper = np.concatenate([self.start + 4 * period, [_LONGEST_RESPONSE_S, widest, period]])
        scale = np.concatenate([np.full(count, period), [0.002, widest / 4, period]])
        got = least_squares(
            self._residuals,
            np.clip(start, lower + 1e-9, upper - 1e-9),
            jac=self._slopes,
            bounds=(lower, upper),
            x_scale=scale,
            max_nfev=60,
        )
        data = got.fun[:-_PRIORS]
        inside = int((data != 0).sum())
        misfit = max(1.0, float((data @ data) / max(1, inside - count - 3)) ** 0.5)
        spread = np.linalg.pinv(got.jac.T @ got.jac) * misfit**2
        shared = spread[:count, :count]
        off = shared.sum() - np.trace(shared)
        response, slant, exposure = (float(v) for v in got.x[count:])
        u_slant, u_exposure = np.sqrt(np.maximum(np.diag(spread)[count + 1 :], 0.0))
        step = Step(
            row_px,
            got.x[:count],
            float(np.sqrt(max(0.0, off / max(1, count * (count - 1))))),
            response,
            Measured(slant, float(u_slant)),
            Measured(exposure, float(min(u_exposure, self.camera.exposure_s.u))),
            self.unit,
            self._heights(got.x),
            misfit,
        )
        return float(got.fun @ got.fun) / max(1, inside), step

    def _shares(self, p: Samples) -> tuple[Samples, npt.NDArray[np.bool_]]:
        response, slant, exposure = p[-3:]
        after = self.t - p[self.press] - slant * self.below[self.band]
        inside = (after + exposure < self.hold_s) & (after > -8 * self.camera.period_s)
        spread = abs(slant) * self.row_spread[self.band]
        return gathered_in_band(after, spread, exposure, response), inside

    def _heights(self, p: Samples) -> Samples:
        share, inside = self._shares(p)
        share = np.where(inside, share, 0.0)
        bands = self.below.size
        power = np.bincount(self.band, share * share, bands)
        height = np.bincount(self.band, share * self.r, bands)
        heights: Samples = np.divide(height, power, out=np.zeros(bands), where=power > 1e-6)
        return heights

    def _residuals(self, p: Samples, heights: Samples | None = None) -> Samples:
        share, inside = self._shares(p)
        heights = self._heights(p) if heights is None else heights
        model = heights[self.band] * share
        data = np.where(inside, (self.r - model) / self.noise, 0.0)
        exposure, slant = self.camera.exposure_s, self.slant
        priors = [
            (p[-1] - exposure.value) / max(exposure.u, 1e-6),
            (p[-2] - slant.value) / max(slant.u, 1e-9),
        ]
        return np.append(data, priors)

    def _slopes(self, p: Samples) -> Samples:
        """Differences: each sample depends on its own press's begin and on the shared three."""
        count = self.start.size
        heights = self._heights(p)
        here = self._residuals(p, heights)
        jac = np.zeros((here.size, p.size))
        nudge = 1e-3 * self.camera.period_s
        moved = p.copy()
        moved[:count] += nudge
        jac[np.arange(self.press.size), self.press] = (self._residuals(moved, heights) - here)[
            :-_PRIORS
        ] / nudge
        for q, nudge in enumerate((1e-6, 1e-8, 1e-6)):
            moved = p.copy()
            moved[count + q] += nudge
            jac[:, count + q] = (self._residuals(moved) - self._residuals(p)) / nudge
        return jac


def place_press(
    course: Course,
    begins_s: float,
    gain: float,
    step: Step,
    bands: Bands,
    hold_s: float,
    camera: Camera,
) -> Measured:
    """Return when the step began for one press, at ``step.row_px`` in the clock of frames.

    The value is the mean of the posterior over placements within a frame and a
    half of the fit (flat prior); ``u`` is its standard deviation.
    """
    period, e = camera.period_s, step.exposure_s.value
    candidates = begins_s + np.arange(-1.5, 1.5, 0.01) * period
    along = np.einsum("mbq,bq->mb", course.values, step.direction)
    misfit = np.zeros_like(candidates)
    for b in np.flatnonzero(step.strength > 0):
        offset = step.slant_s_per_px.value * (bands.row_px[b] - step.row_px)
        spread = np.array(abs(step.slant_s_per_px.value) * bands.spread_px[b])
        after_begin = course.start_s - begins_s - offset
        rest = (after_begin > -10 * period) & (after_begin < -2.5 * period)
        last = max(hold_s - 1.5 * period, 1.1 * period)
        use = (after_begin > -8 * period) & (after_begin + e < last)
        level = along[rest, b].mean() if rest.sum() >= 3 else 0.0
        r = (along[use, b] - level) / step.strength[b]
        after = course.start_s[use][None, :] - candidates[:, None] - offset
        share = gain * gathered_in_band(after, spread, e, step.response_s)
        noise = _doubt(r * step.strength[b], step.strength[b]) * step.misfit / step.strength[b]
        misfit += (((r - share) / noise) ** 2).sum(axis=1)
    chance = np.exp(-0.5 * (misfit - misfit.min()))
    chance /= chance.sum()
    mean = float(chance @ candidates)
    return Measured(mean, float(np.sqrt(chance @ (candidates - mean) ** 2)))


def _doubt(heights: Samples, strength: Samples) -> Samples:
    """Return the standard doubt of each sample, in idle standard deviations."""
    share = np.clip(heights / strength, 0.0, 1.0)
    model = np.hypot(_MODEL_DOUBT, _PARTIAL_DOUBT * 4 * share * (1 - share))
    doubt: Samples = np.hypot(1.0, model * strength)
    return doubt


def _first_look(template: Template, begins_s: Samples, period: float, hold_s: float) -> Samples:
    """Mean of each band's template over its first game frame, shape (bands, 4)."""
    out = np.zeros(template.values.shape[1:])
    for b, begin in enumerate(begins_s):
        use = (template.after_s > begin + 0.5 * period) & (
            template.after_s < begin + max(hold_s - 1.0 * period, 1.2 * period)
        )
        if use.any():
            out[b] = template.values[use, b].mean(axis=0)
    return out
