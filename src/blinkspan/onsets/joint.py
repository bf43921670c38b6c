"""One least-squares problem: when each press's step begins, and the step they share.

All presses of a take see the same panel and camera, so the panel's response
time, the slant of the answer over the rows, the exposure and the height in each
row band are common; only the begins differ, and how strongly each press is
answered. Heights and strengths are linear and solved inside (variable
projection, by turns), so that the search runs over times only.

References
----------
K. Levenberg, "A method for the solution of certain non-linear problems in least
squares", Quarterly of Applied Mathematics 2 (1944) 164-168.
G. Golub and V. Pereyra, "Separable nonlinear least squares: the variable
projection method and its applications", Inverse Problems 19 (2003) R1-R26.
"""

import math
from copy import copy
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.alignment import Course
from blinkspan.onsets.slopes import Slopes
from blinkspan.onsets.softened import Bands, doubt_of, gathered_in_band
from blinkspan.quantities import Measured
from blinkspan.traces.trace import Samples

_LONGEST_RESPONSE_S = 0.012
# Next to no weight where the course shows; where every exposure sees all or nothing of the
# step, nothing speaks for a slow panel.
_USUAL_RESPONSE_S = 0.005
_LEAST_RESPONSE_S = 1e-5  # a panel that takes less answers at once
_SHARED = 3  # response time, slant, exposure
# Of a period: fitted exposures of staged takes stray by this much, since an encoder
# makes a frame that is nearly wholly lit look wholly lit.
EXPOSURE_DOUBT = 0.04
_SLOW_DOUBT = 0.08  # of the panel's time constant: a slow panel looks like a long exposure
_SEEN = 0.3  # of the strongest band's step: weaker bands follow the scene's own changes
# Standard doubts of one press's alignment, in frames, and of its strength, where all answers
# look alike and where they do not (staged takes).
_ALIKE_FRAMES, _UNLIKE_FRAMES = 0.25, 1.0
_ALIKE_GAIN, _UNLIKE_GAIN = 0.05, 0.5
_FARTHEST_FRAMES = 5.0  # a begin may move this far from its first guess
# Frames before the step: from when to when there is rest, how many tell its level, and from
# when on the frames are held against the step.
_BEFORE_FRAMES, _REST_FRAMES, _FEWEST_RESTING = 10.0, 2.5, 3
TOLD_FRAMES = 8.0
_MOST_ROUNDS = 40
_POOR = 1.2  # times the stated doubt: samples that stray farther tell exposures as much worse
_SAME_PLACE = 0.1  # of a frame: answers no farther from each other show the same parts of the step


@dataclass(frozen=True, slots=True)
class Known:
    """What is known beforehand of camera, slant and answers; times in seconds.

    Attributes
    ----------
    period_s : float
        From one camera frame to the next.
    exposure_s, slant_s_per_px : Measured
    hold_s : float
        How long a game frame stays: only this long after its begin is a step a step.
    alike : bool
        Whether the presses' courses follow each other closely; then their
        alignment and their common strength are worth more.
    coarseness : float
        How many times as coarse as good film's the encoder's steps are.
    """

    period_s: float
    exposure_s: Measured
    slant_s_per_px: Measured
    hold_s: float
    alike: bool
    coarseness: float = 1.0

    @property
    def aligned_u_s(self) -> float:
        """How far alignment may be off for one press."""
        usual = (_ALIKE_FRAMES if self.alike else _UNLIKE_FRAMES) * self.period_s
        # Where most of a frame is dead time, courses slide within it and look the same.
        return math.hypot(usual, max(0.0, self.period_s - 2 * self.exposure_s.value))

    @property
    def gain_u(self) -> float:
        """How far one press's answer may be stronger or weaker than the mean."""
        return _ALIKE_GAIN if self.alike else _UNLIKE_GAIN


@dataclass(frozen=True, slots=True)
class Solution:
    """A solved problem.

    Attributes
    ----------
    cost : float
        Sum of squared residuals, priors included, a sample.
    begins_s, begins_u_s : ndarray, shape (presses,)
    spread : ndarray, shape (presses, presses)
        Covariance of the begins.
    heights : ndarray, shape (bands,)
    gains : ndarray, shape (presses,)
        How strongly each press is answered; 1 as the mean.
    wanted_exposure_s : Measured
        What the samples would have for the exposure, however badly they fit.
    misfit : float
        Residual scatter over the stated doubt, at least 1.
    surprise : float
        Sum of squared residuals, priors included, where parts of the step that many presses
        show, and misread, alike count once.
    log_room : float
        Natural logarithm of the room its doubt leaves in all that was searched for.
    """

    cost: float
    begins_s: Samples
    spread: Samples
    response_s: float
    slant_s_per_px: Measured
    exposure_s: Measured
    wanted_exposure_s: Measured
    heights: Samples
    gains: Samples
    misfit: float
    surprise: float
    log_room: float


class Joint:
    """The samples of all presses around their steps, and the search.

    Parameters
    ----------
    courses : one a press
    begins_s : ndarray, shape (presses,)
        First guesses.
    direction : ndarray, shape (bands, FEATURES)
        The features' first look in each band; its length is the height expected.
    bands : Bands
        Counted from the row at which the begins are stated.
    known : Known
    """

    def __init__(
        self,
        courses: list[Course],
        begins_s: Samples,
        direction: Samples,
        bands: Bands,
        known: Known,
    ) -> None:
        strength = np.linalg.norm(direction, axis=1)
        seen = np.flatnonzero(strength > _SEEN * strength.max())
        self.unit = direction / np.maximum(strength, 1e-9)[:, None]
        self.known, self.bands, self.guess = known, bands, begins_s
        self.firmness = 1.0  # times which what is known of the exposure counts
        self.repeats = _repeats(courses, begins_s, known.period_s)
        times, heights, press, band = [], [], [], []
        offsets_s = known.slant_s_per_px.value * bands.row_px[seen]
        for k, course in enumerate(courses):
            after_s = course.start_s[:, None] - begins_s[k] - offsets_s
            # Which samples count is settled by the guess: a search that could drop samples by
            # moving a begin would do so.
            counts = (after_s > -TOLD_FRAMES * known.period_s) & (
                after_s + known.exposure_s.value < known.hold_s
            )
            frames, places = np.nonzero(counts)
            times.append(course.start_s[frames])
            heights.append(self.over_rest(course, seen, after_s)[counts])
            press.append(np.full(frames.size, k))
            band.append(seen[places])
        self.t, r = np.concatenate(times), np.concatenate(heights)
        self.press, self.band = np.concatenate(press), np.concatenate(band)
        self.row_px, self.spread_px = bands.row_px[self.band], bands.spread_px[self.band]
        # An encoder errs alike in all bands of a frame: together they count as one.
        doubt = doubt_of(r, strength[self.band], coarseness=known.coarseness)
        self.noise = doubt * seen.size**0.25
        repeats = self.repeats[self.press]
        self.trust = doubt / doubt_of(r, strength[self.band], repeats, known.coarseness)
        self.data = r / self.noise

    def over_rest(self, course: Course, seen: npt.NDArray[np.intp], after_s: Samples) -> Samples:
        """Return how far a course has gone from its rest towards the first look.

        Shape (m, k) for k bands ``seen``, as ``after_s``: each frame's time from the step
        in each of them.
        """
        along: Samples = np.einsum("mbq,bq->mb", course.values[:, seen], self.unit[seen])
        period_s = self.known.period_s
        rest = (after_s > -_BEFORE_FRAMES * period_s) & (after_s < -_REST_FRAMES * period_s)
        count = rest.sum(axis=0)
        level = (along * rest).sum(axis=0) / np.maximum(count, 1)
        return along - np.where(count >= _FEWEST_RESTING, level, 0.0)

    def solve(
        self,
        basis: Samples,
        first: Samples,
        shared: Samples | None = None,
        *,
        at_once: bool = False,
    ) -> Solution:
        """Return the best begins of the form ``basis @ coefficients``.

        Parameters
        ----------
        basis : ndarray, shape (presses, k)
            The identity leaves every press free; ones and tick numbers put them on a grid.
        first : ndarray, shape (k,)
            First coefficients.
        shared : ndarray, shape (3,), optional
            First response time, slant and exposure.
        at_once : bool
            Whether the panel answers at once: then it has no response time.
        """
        known, k = self.known, first.size
        if shared is None:
            shared = np.array([0.0005, known.slant_s_per_px.value, known.exposure_s.value])
        period = known.period_s
        coefficient_scale = period / np.maximum(np.abs(basis).max(axis=0), 1.0)
        reach = float(np.ptp(self.bands.row_px))
        widest = max(2 * abs(known.slant_s_per_px.value), 0.020 / max(1.0, reach))
        away = _FARTHEST_FRAMES * coefficient_scale
        low = np.concatenate([first - away, [0.0, -widest, 0.03 * period]])
        high = np.concatenate([first + away, [_LONGEST_RESPONSE_S, widest, period]])
        inner = np.clip(shared, low[k:] + 1e-9, high[k:] - 1e-9)
        if at_once:
            inner[0] = high[k] = 0.0
        found, residuals, slopes = self._search(basis, np.concatenate([first, inner]), low, high)
        count = self.t.size
        misfit = max(1.0, float(_squares(residuals[:count]) / max(1, count - k - _SHARED)) ** 0.5)
        searched = np.ones(k + _SHARED, bool)
        searched[k] = not at_once
        normal = slopes.weighed(self.trust).normal()[np.ix_(searched, searched)]
        spread = np.zeros((k + _SHARED, k + _SHARED))
        spread[np.ix_(searched, searched)] = np.linalg.pinv(normal) * misfit**2
        room = -0.5 * np.linalg.slogdet(normal)[1]
        response, slant, exposure = (float(v) for v in found[k:])
        u = np.sqrt(np.maximum(np.diag(spread)[k:], 0.0))
        begins = basis @ found[:k]
        seen = Measured(exposure, self._exposure_u(float(u[2]), response, misfit))
        return Solution(
            _squares(residuals) / max(1, count),
            begins,
            basis @ spread[:k, :k] @ basis.T,
            response,
            Measured(slant, float(u[1])),
            seen,
            seen,
            *self._heights(self._shares(begins, found[k:])),
            misfit,
            _squares(residuals[:count] * self.trust) + _squares(residuals[count:]),
            float(room),
        )

    def solve_firmly(self, basis: Samples, first: Samples, shared: Samples) -> Solution:
        """Return the best begins, weighed over both kinds of panel.

        Where the samples stray by more than is stated, they tell the exposure as much worse:
        what the lamp tells of it then counts as much more.
        """
        loose = self.solve(basis, first, shared)
        if loose.misfit <= _POOR:
            return self.or_at_once(basis, first, loose)
        firm = copy(self)
        firm.firmness = loose.misfit
        held = firm.or_at_once(basis, first, firm.solve(basis, first, shared))
        return replace(held, wanted_exposure_s=loose.exposure_s)

    def or_at_once(self, basis: Samples, first: Samples, slow: Solution) -> Solution:
        """Return a solution weighed with the one for a panel that answers at once.

        A short exposure with a slow panel and a long one with a panel that answers at once
        look much alike, but begin as far apart as the exposures. Both kinds of panel are
        taken as equally likely beforehand; how likely each has become is told by Laplace's
        approximation (R. E. Kass and A. E. Raftery, "Bayes factors", Journal of the American
        Statistical Association 90 (1995) 773-795, 4.1).

        Parameters
        ----------
        basis, first
            As for ``solve``.
        slow : Solution
            What that returned.
        """
        shared = np.array([slow.response_s, slow.slant_s_per_px.value, slow.exposure_s.value])
        if slow.response_s < _LEAST_RESPONSE_S:
            return slow
        fast = self.solve(basis, first, shared, at_once=True)
        worse = (fast.surprise - slow.surprise) / slow.misfit**2
        # The density of response times beforehand, half a bell, is in the slow one's cost but
        # for its height; with it comes the room of one parameter more.
        log_height = math.log(2 / _USUAL_RESPONSE_S * slow.misfit)
        log_odds = -worse / 2 + fast.log_room - slow.log_room - log_height
        if not math.isfinite(log_odds):  # what nothing holds leaves room without end
            return slow
        w = 1 / (1 + math.exp(-min(max(log_odds, -50.0), 50.0)))
        return self._mixed(slow, fast, w)

    def _mixed(self, slow: Solution, fast: Solution, w: float) -> Solution:
        """Return mean and spread of two solutions, the second of which has the chance ``w``."""

        def mean(a: Measured, b: Measured) -> Measured:
            u = math.sqrt((1 - w) * a.u**2 + w * b.u**2 + w * (1 - w) * (a.value - b.value) ** 2)
            return Measured((1 - w) * a.value + w * b.value, u)

        apart_s = fast.begins_s - slow.begins_s
        begins = slow.begins_s + w * apart_s
        spread = (1 - w) * slow.spread + w * fast.spread + w * (1 - w) * np.outer(apart_s, apart_s)
        response = (1 - w) * slow.response_s
        slant = mean(slow.slant_s_per_px, fast.slant_s_per_px)
        exposure = mean(slow.exposure_s, fast.exposure_s)
        shared = np.array([response, slant.value, exposure.value])
        heights, gains = self._heights(self._shares(begins, shared))
        return replace(
            slow,
            begins_s=begins,
            spread=spread,
            response_s=response,
            slant_s_per_px=slant,
            exposure_s=exposure,
            wanted_exposure_s=exposure,
            heights=heights,
            gains=gains,
        )

    def _search(
        self, basis: Samples, first: Samples, low: Samples, high: Samples
    ) -> tuple[Samples, Samples, Slopes]:
        """Return the best parameters, their residuals and slopes: damped Gauss-Newton in a box.

        A dozen parameters against a thousand samples: the normal equations are
        small and well scaled, and a tenth of the cost of a general solver.
        """
        k = basis.shape[1]
        here, damping = first, 1e-3
        residuals, linear = self._residuals(basis @ here[:k], here[k:])
        slopes = self._slopes(basis, here, residuals, linear)
        downhill, normal = -slopes.along(residuals), slopes.normal()
        for _ in range(_MOST_ROUNDS):
            # A parameter on its bound that wants to leave the box stays there.
            free = ~(((here <= low) & (downhill < 0)) | ((here >= high) & (downhill > 0)))
            inner = normal[np.ix_(free, free)]
            scale = np.diag(np.maximum(np.diag(inner), 1e-12 * np.trace(inner)))
            there = here.copy()
            there[free] += np.linalg.solve(inner + damping * scale, downhill[free])
            there = np.clip(there, low, high)
            tried, linear = self._residuals(basis @ there[:k], there[k:])
            gain = float(residuals @ residuals - tried @ tried)
            if gain <= 0:
                damping *= 5
                if damping > 1e6:
                    break
                continue
            settled = gain < 1e-7 * float(tried @ tried)
            here, residuals, damping = there, tried, max(damping / 4, 1e-9)
            slopes = self._slopes(basis, here, residuals, linear)
            if settled:
                break
            downhill, normal = -slopes.along(residuals), slopes.normal()
        return here, residuals, slopes

    def _exposure_u(self, fitted_u_s: float, response_s: float, misfit: float) -> float:
        coded_s = EXPOSURE_DOUBT * self.known.coarseness * self.known.period_s
        floor = math.hypot(coded_s, _SLOW_DOUBT * response_s) * misfit
        floor = min(known_u := self.known.exposure_s.u, floor)
        return float(np.clip(fitted_u_s, floor, known_u))

    def _shares(self, begins: Samples, shared: Samples) -> Samples:
        """Return the share of its full step that each sample shows, over the sample's doubt."""
        response, slant, exposure = shared
        after = self.t - begins[self.press] - slant * self.row_px
        share = gathered_in_band(after, abs(slant) * self.spread_px, exposure, response)
        shares: Samples = share / self.noise
        return shares

    def _heights(self, shares: Samples) -> tuple[Samples, Samples]:
        """Return the height of each band and the gain of each press that fit best."""
        bands, presses = self.bands.row_px.size, self.guess.size
        # All that is asked of the samples, summed up by press and band once.
        cell = self.press * bands + self.band
        power, along = (
            np.bincount(cell, shares * each, presses * bands).reshape(presses, bands)
            for each in (shares, self.data)
        )
        prior = self.known.gain_u**-2
        gains: Samples = np.ones(presses)
        heights: Samples = np.ones(bands)
        for _ in range(3):
            heights = (gains @ along) / np.maximum(gains**2 @ power, 1e-6)
            gains = (along @ heights + prior) / (power @ heights**2 + prior)
        return heights, gains

    def _residuals(
        self,
        begins: Samples,
        shared: Samples,
        linear: tuple[Samples, Samples] | None = None,
    ) -> tuple[Samples, tuple[Samples, Samples]]:
        """Return the residuals, and the heights and gains they hold for."""
        shares = self._shares(begins, shared)
        linear = heights, gains = self._heights(shares) if linear is None else linear
        data = self.data - heights[self.band] * gains[self.press] * shares
        exposure, slant = self.known.exposure_s, self.known.slant_s_per_px
        priors = [
            (shared[2] - exposure.value) / max(exposure.u, 1e-6) * self.firmness,
            (shared[1] - slant.value) / max(slant.u, 1e-9),
            shared[0] / _USUAL_RESPONSE_S,
        ]
        return np.concatenate([data, self._strayed(begins), priors]), linear

    def _strayed(self, begins: Samples) -> Samples:
        """Return how far each begin strays from its aligned place, all moved together first."""
        away = begins - self.guess
        strayed: Samples = (away - away.mean()) / self.known.aligned_u_s
        return strayed

    def _slopes(
        self, basis: Samples, p: Samples, here: Samples, linear: tuple[Samples, Samples]
    ) -> Slopes:
        """Differences: a sample depends on its own press's begin and on the shared three."""
        k = basis.shape[1]
        begins, shared = basis @ p[:k], p[k:]
        nudge = 1e-3 * self.known.period_s
        n, presses = self.t.size, begins.size
        by_begin = (self._residuals(begins + nudge, shared, linear)[0] - here)[:n] / nudge
        rest = np.zeros((here.size - n, p.size))
        rest[:presses, :k] = (basis - basis.mean(axis=0)) / self.known.aligned_u_s
        by_shared = np.zeros((n, p.size - k))
        for q, nudge in enumerate((1e-6, 1e-8, 1e-6)):
            moved = shared.copy()
            moved[q] += nudge
            slope = (self._residuals(begins, moved)[0] - here) / nudge
            by_shared[:, q], rest[:, k + q] = slope[:n], slope[n:]
        return Slopes(basis, self.press, by_begin, by_shared, rest)


def _squares(values: Samples) -> float:
    return float(values @ values)


def _repeats(courses: list[Course], begins_s: Samples, period_s: float) -> Samples:
    """Return for each press how many see the step at about its place between two frames.

    What a part of the step reads wrongly there, all of them do. Shape (presses,).
    """
    first_s = np.array([course.start_s[0] for course in courses])
    place = (begins_s - first_s) / period_s
    apart = np.abs((place - place[:, None] + 0.5) % 1.0 - 0.5)
    repeats: Samples = np.maximum(0.0, 1 - apart / _SAME_PLACE).sum(axis=1)
    return repeats
