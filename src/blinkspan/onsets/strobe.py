"""The flashes of a strobed backlight: when they come, and the pictures that they show.

A strobed panel is dark but for one flash a refresh, so that most camera frames show
nothing and the others a part of a flash. How much of a flash an exposure gathers is
the overlap of two intervals. Over a take flash and exposure drift through each other, and
the flash falls later in the exposure the further down a row is, by the camera's readout
alone, since a flash lights all rows at once. So the shares tell the instant of every
flash, how long it is, the exposure and the readout. Divided by its share each picture is
whole again; held until the next flash, they make a film of a panel without a strobe.

References
----------
K. Levenberg, Quarterly of Applied Mathematics 2 (1944) 164-168 (the damped search).
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.footage.frames import Clock
from blinkspan.quantities import Measured
from blinkspan.traces.light import FULL_SCALE
from blinkspan.traces.reduction import Film
from blinkspan.traces.trace import Samples

_CLOCK_REACH = 500e-6  # how far a camera's and a panel's clock may differ together
_DEEP = 0.5  # of the mean light: a panel's own pictures never swing so at one rate
_FASTEST = 0.51  # flashes a camera frame
_BANDS = 12
_FRAMES_AT_ONCE = 512
_MOST_FLASHES = 400  # tell the flash; more only cost time
_DARKEST = 5.0  # per cent: the room's light on a dark panel
_DUTIES = (0.05, 0.15, 0.35)
_ROUNDS = 30
_LEAST_SEEN = 0.12  # of a flash: less of it shows no picture
_SHARE_DOUBT = 0.03  # what an encoder does to a share (staged takes)
_LEVEL_DOUBT, _MOST_LEFT = 0.1, 2.0  # of a band's usual light; and in such doubts


@dataclass(frozen=True, slots=True)
class Strobe:
    """When a panel flashes, in the clock of frames.

    Attributes
    ----------
    rate_hz : float
    nominal_hz : float
        The rate it was looked for at.
    zero_s : Measured
        The beginning of a flash at ``row_px``.
    length_s : float
        Of one flash.
    exposure_s : Measured
        The camera's, as the flashes tell it.
    slant_s_per_px : Measured
        How much later the row below sees a flash: less than nothing, by the readout.
    """

    rate_hz: float
    nominal_hz: float
    zero_s: Measured
    length_s: float
    exposure_s: Measured
    slant_s_per_px: Measured
    row_px: float

    def begins_s(self, flash: npt.NDArray[np.intp], row_px: float) -> Samples:
        """Return when flashes of some numbers begin at a row."""
        below = self.slant_s_per_px.value * (row_px - self.row_px)
        begins: Samples = self.zero_s.value + flash / self.rate_hz + below
        return begins

    def shares(self, start_s: Samples, row_px: Samples) -> tuple[npt.NDArray[np.intp], Samples]:
        """Return which flash each exposure may see, and how much of it in each row.

        Shapes (n,) and (n, rows); the flash is the one nearest to the exposure's middle.
        """
        nearest, into = self._nearest(start_s)
        after = into[:, None] - self.slant_s_per_px.value * (row_px - self.row_px)
        return nearest, overlap(after, self.exposure_s.value, self.length_s)

    def _nearest(self, start_s: Samples) -> tuple[npt.NDArray[np.intp], Samples]:
        middle = (self.exposure_s.value - self.length_s) / 2
        since = start_s - self.zero_s.value
        nearest = np.rint((since + middle) * self.rate_hz).astype(np.intp)
        return nearest, since - nearest / self.rate_hz


def overlap(after_s: Samples, exposure_s: float, length_s: float) -> Samples:
    """Return the share of a flash that exposures gather which start ``after_s`` from its begin.

    Examples
    --------
    >>> overlap(np.array([-0.002, -0.001, 0.0, 0.001]), 0.002, 0.001).tolist()
    [0.0, 1.0, 1.0, 0.0]
    """
    first = np.maximum(after_s, 0.0)
    last = np.minimum(after_s + exposure_s, length_s)
    share: Samples = np.maximum(last - first, 0.0) / length_s
    return share


def find_strobe(
    film: Film,
    row_px: Samples,
    clock: Clock,
    exposure_s: Measured,
    row_s: Measured,
    rates_hz: list[float],
) -> Strobe | None:
    """Return the strobe that a film's panel is lit by; None where its light is steady.

    Parameters
    ----------
    film : Film, shape (n, rows, columns)
    row_px : ndarray, shape (rows,)
    clock : Clock
    exposure_s, row_s : Measured
        What is known of the exposure, and of the readout from one row to the next.
    rates_hz : list of float
        Nominal refresh rates; a flash comes once a refresh.
    """
    edges = np.unique(np.linspace(0, film.shape[1], _BANDS + 1).astype(np.intp))
    light = _band_light(film, edges)
    rate = _flash_rate(light, clock, rates_hz)
    if rate is None:
        return None
    middles = np.add.reduceat(row_px, edges[:-1]) / np.diff(edges)
    strobe = _fitted(light, clock, middles, exposure_s, row_s, *rate)
    # Rows lit one after the other are a scanned backlight, of which this tells nothing.
    slant, reach = strobe.slant_s_per_px, float(np.ptp(middles))
    slack = 3 * slant.u * reach + 0.02 * clock.period_s
    return strobe if -clock.period_s * 8 - slack < slant.value * reach < slack else None


def _band_light(film: Film, edges: npt.NDArray[np.intp]) -> Samples:
    light = np.empty((film.shape[0], edges.size - 1))
    for first in range(0, film.shape[0], _FRAMES_AT_ONCE):
        by_row = film[first : first + _FRAMES_AT_ONCE].mean(axis=2) / FULL_SCALE
        light[first : first + by_row.shape[0]] = np.add.reduceat(by_row, edges[:-1], axis=1)
    light /= np.diff(edges)
    dark: Samples = light - np.percentile(light, _DARKEST, axis=0)
    return dark


def _flash_rate(
    light: Samples, clock: Clock, rates_hz: list[float]
) -> tuple[float, float, float] | None:
    """Return nominal rate, rate and phase of the slowest deep pulse of light."""
    mean = float(light.mean())
    if mean <= 0.0:
        return None
    one = light.mean(axis=1)
    swings = []
    for nominal in rates_hz:
        if nominal * clock.period_s > _FASTEST:
            continue
        steps = max(3, math.ceil(_CLOCK_REACH * nominal * clock.start_s[-1] * 8))
        rates = nominal * (1 + np.linspace(-_CLOCK_REACH, _CLOCK_REACH, 2 * steps + 1))
        sums = np.exp(-2j * np.pi * rates[:, None] * clock.start_s) @ one / one.size / mean
        k = int(np.argmax(np.abs(sums)))
        if abs(sums[k]) > _DEEP:
            swings.append((nominal, float(rates[k]), float(np.angle(sums[k])), abs(sums[k])))
    if not swings:
        return None
    slowest = min(swing[0] for swing in swings)
    near = [swing for swing in swings if swing[0] < 1.01 * slowest]
    return max(near, key=lambda swing: swing[3])[:3]


def _fitted(
    light: Samples,
    clock: Clock,
    row_px: Samples,
    exposure_s: Measured,
    row_s: Measured,
    nominal_hz: float,
    rate_hz: float,
    phase: float,
) -> Strobe:
    """Return the flash of least squares: begin, rate, length, exposure and slant."""
    tries = []
    for duty in _DUTIES:
        length = duty / nominal_hz
        # An exposure sees most of a flash when their middles meet.
        zero = -phase / (2 * np.pi * rate_hz) + (exposure_s.value - length) / 2
        first = np.array([zero, rate_hz, length, exposure_s.value, -row_s.value])
        # A camera in step with the flashes sees no more of them than that they fall into an
        # exposure: then what was known beforehand is all that is known.
        doubt = np.array(
            [
                clock.period_s / math.sqrt(12.0),
                _CLOCK_REACH * rate_hz,
                0.5 * length,
                exposure_s.u,
                row_s.u,
            ]
        )
        tries.append(_search(_Shares(light, clock, row_px, first, doubt), first))
    _, found, spread = min(tries, key=lambda each: each[0])
    u = np.sqrt(np.maximum(np.diag(spread), 0.0))
    zero, rate, length, exposure, slant = (float(v) for v in found)
    # An overlap does not tell which of the two intervals is the exposure: what is known does.
    either = np.array([exposure, length])
    chance = np.exp(-0.5 * ((either - exposure_s.value) / exposure_s.u) ** 2) + 1e-12
    chance /= chance.sum()
    told = float(chance @ either)
    apart = float(abs(exposure - length) * np.sqrt(chance.prod()))
    moved = told - exposure  # the exposure's middle meets the flash's where it did
    return Strobe(
        rate,
        nominal_hz,
        Measured(zero + moved, math.hypot(float(u[0]), apart, _SHARE_DOUBT * length)),
        length - moved,
        Measured(told, math.hypot(float(u[3]), apart, _SHARE_DOUBT * length)),
        Measured(slant, math.hypot(float(u[4]), _SHARE_DOUBT * length / float(np.ptp(row_px)))),
        float(row_px.mean()),
    )


class _Shares:
    """How each flash's light is shared between frames, and what a guess leaves of it."""

    def __init__(
        self, light: Samples, clock: Clock, row_px: Samples, first: Samples, doubt: Samples
    ) -> None:
        zero, rate, length, exposure, _ = first
        since = clock.start_s - zero + (exposure - length) / 2
        # Between two flashes' middles a flash's light is a whole: the cut lies in the dark.
        number = np.floor(since * rate + 0.5).astype(np.intp)
        kept = np.unique(number)[1:-1]
        kept = kept[:: 1 + kept.size // _MOST_FLASHES]
        use = np.isin(number, kept)
        self.start_s, self.flash = clock.start_s[use], number[use]
        self.group = np.searchsorted(kept, self.flash)
        self.below_px = row_px - row_px.mean()
        self.data = light[use]
        self.total = self._summed(self.data)[self.group]
        usual = np.maximum(np.median(self.total, axis=0), 1e-12)
        self.weight = np.minimum(self.total / usual, 1.0) / _SHARE_DOUBT
        self.level = self._summed(self.data) / usual
        self.first, self.doubt = first, np.maximum(doubt, 1e-9)

    def _summed(self, values: Samples) -> Samples:
        sums = np.zeros((int(self.group.max()) + 1, values.shape[1]))
        np.add.at(sums, self.group, values)
        return sums

    def residuals(self, guess: Samples) -> Samples:
        zero, rate, length, exposure, slant = guess
        into = (self.start_s - zero - self.flash / rate)[:, None] - slant * self.below_px
        model = overlap(into, exposure, length)
        seen = self._summed(model)
        whole = np.maximum(seen[self.group], 0.05)
        left = (self.data / np.maximum(self.total, 1e-9) - model / whole) * self.weight
        # How much of a flash is seen at all parts its length from the exposure's; what moves
        # in the picture changes its light too, and counts for no more than a bound.
        usual = np.maximum(np.median(seen, axis=0), 0.05)
        level = (self.level - seen / usual) / _LEVEL_DOUBT
        level = _MOST_LEFT * np.tanh(level / _MOST_LEFT)
        held = (guess - self.first) / self.doubt
        return np.concatenate([left.ravel(), level.ravel(), held])


def _search(shares: _Shares, first: Samples) -> tuple[float, Samples, Samples]:
    """Return cost, parameters and their covariance: damped Gauss-Newton by differences."""
    scale = np.array([1e-5, 1e-6, 1e-5, 1e-5, 1e-8])
    here, damping = first, 1e-2
    left = shares.residuals(here)
    normal = np.eye(first.size)
    for _ in range(_ROUNDS):
        slopes = np.stack([shares.residuals(here + step) - left for step in np.diag(scale)], axis=1)
        normal = slopes.T @ slopes + 1e-12 * np.eye(first.size)
        move = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -slopes.T @ left)
        there = here + move * scale
        there[2:4] = np.maximum(there[2:4], 1e-4)
        tried = shares.residuals(there)
        gain = float(left @ left - tried @ tried)
        if gain > 0:
            done = gain < 1e-6 * float(tried @ tried)
            here, left, damping = there, tried, max(damping / 5, 1e-9)
            if done:
                break
        else:
            damping *= 8
            if damping > 1e8:
                break
    cost = float(left @ left)
    misfit = cost / max(1, left.size - first.size)
    spread: Samples = (np.linalg.pinv(normal) * np.outer(scale, scale) * misfit).astype(np.float64)
    return cost, here, spread


def held_film(
    film: Film, row_px: Samples, clock: Clock, strobe: Strobe
) -> tuple[Film, npt.NDArray[np.intp], npt.NDArray[np.bool_]]:
    """Return the film as if each flash's picture stayed until the next, and how it was made.

    Returns
    -------
    held : Film
        All rows change together, in the frame after the flash's.
    flash : ndarray, shape (n,)
        The number of the flash that each frame shows.
    seen : ndarray, shape (n,)
        Whether that flash fell into an exposure at all; else the last one seen is shown.
    """
    n = film.shape[0]
    number, shares = strobe.shares(clock.start_s, row_px)
    held = np.empty(film.shape, np.uint16)
    seen = np.zeros(n, np.bool_)
    picture = film[0:1][0]
    edges = np.concatenate([[0], np.flatnonzero(np.diff(number)) + 1, [n]])
    for first, stop in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        share = shares[first:stop]
        power = (share**2).sum(axis=0)
        rows = power > _LEAST_SEEN**2
        if rows.any():
            picture = picture.copy()
            along = np.einsum("mr,mrc->rc", share[:, rows], film[first:stop][:, rows])
            whole = along / power[rows][:, None]
            picture[rows] = np.clip(np.rint(whole), 0, FULL_SCALE).astype(np.uint16)
        held[first:stop] = picture
        seen[first:stop] = rows.mean() > 0.5
    return held, number, seen
