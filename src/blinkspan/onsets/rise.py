"""How a lamp rises: at once, slowly, or more than once; and when it began to.

A lamp behind a phosphor or a capacitor comes up over a millisecond or two. Read as
if it lit at once, every onset would be late by about its time constant. The rise is
learnt over all presses of the take, and each onset is then placed by it. Where no
single rise explains the frames of one press, the contact closed more than once.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np

from blinkspan.onsets.edge import TONE_CURVE_DOUBT
from blinkspan.onsets.softened import gathered
from blinkspan.quantities import Measured
from blinkspan.traces.trace import Samples

_CONSTANTS_S = np.concatenate([[0.0], np.geomspace(2e-4, 4e-3, 11)])
_EXPOSURES = np.array([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.98])  # of a period
# Of log likelihood, before a lamp is held to be slow: fast ones stay below 1, slow ones of
# 1 ms pass 4 (staged takes of 15 presses).
_CLEARLY = 3.0
_MOST_MISFIT = 20.0  # of one edge: a bouncing contact or a drifting lamp must not decide alone
_PLACES_A_FRAME, _FINE_PLACES_A_FRAME = 50, 400
_BEFORE, _AFTER = 3, 4  # frames around the edge that tell of it
_ENCODING = 0.015  # of the lit level: what an encoder does to a frame unlike its neighbours
# Beyond that, a frame that is lit in part is drawn to its neighbours: of the lit level, and of
# the lamp's noise, which tells how little the encoder spends on it (films of two renderers).
_DRAWN, _DRAWN_BY_NOISE, _WELL_INSIDE = 0.03, 2.0, 0.06
# Of the time constant: an encoder swallows the faint end of a rise, which then reads as
# shorter than it is (staged takes).
_CONSTANT_DOUBT = 0.4
# Of the lit level: farther from every single rise than encoding takes a frame (staged takes).
_OTHER_THAN_A_RISE, _CLEAR_OF_NOISE = 0.2, 5.0


@dataclass(frozen=True, slots=True)
class Rising:
    """The frames around one press's onset.

    Attributes
    ----------
    levels, start_s : ndarray, shape (k,)
        From dark (0) to lit (1), and when each exposure starts.
    half_s : float
        Start of the first exposure that is at least half lit.
    """

    levels: Samples
    start_s: Samples
    half_s: float

    @property
    def after_s(self) -> Samples:
        """When each exposure starts, from the first that is half lit."""
        return self.start_s - self.half_s

    @property
    def gap_s(self) -> float:
        """How long before the first half lit exposure the one before it starts."""
        return -float(self.after_s[self.after_s < 0].max(initial=-np.inf))


def rising(levels: Samples, start_s: Samples, frame: int, stop: int) -> Rising:
    """Return the frames around the edge at ``frame``; ``stop`` is where the light ends again."""
    a, b = max(0, frame - _BEFORE), max(frame + 1, min(stop - 1, frame + _AFTER))
    return Rising(levels[a:b], start_s[a:b], float(start_s[frame]))


def time_constant(edges: list[Rising], period_s: float, noise: float) -> Measured | None:
    """Return the lamp's time constant in seconds, or None where it lights at once.

    The exposure may be anything: a slow lamp leaves as many partial frames as a long
    exposure does, but not the same ones.

    Parameters
    ----------
    edges : list of Rising
        Onsets, and releases turned over: a lamp goes out about as slowly as it lights.
    period_s : float
        From frame to frame.
    noise : float
        Standard deviation of a level.
    """
    likely = np.zeros((_CONSTANTS_S.size, _EXPOSURES.size))
    places, exposures = _places(period_s), _EXPOSURES * period_s
    for levels, after_s in _of_equal_length(edges):
        for (k, tau), (q, e) in product(enumerate(_CONSTANTS_S), enumerate(exposures)):
            misfit = _misfit(
                levels, after_s, places, float(e), float(tau), noise, most=_MOST_MISFIT
            )
            best = misfit.min(axis=-1)
            chance = np.exp(-0.5 * (misfit - best[:, None])).mean(axis=-1)
            likely[k, q] += float((np.log(chance) - 0.5 * best).sum())
    chance = np.maximum(np.exp(likely - likely.max()).mean(axis=1), 1e-300)
    if np.log(chance.max()) - np.log(chance[0]) < _CLEARLY:
        return None
    chance /= chance.sum()
    mean = float(chance @ _CONSTANTS_S)
    spread = float(chance @ (_CONSTANTS_S - mean) ** 2)
    return Measured(mean, (spread + (_CONSTANT_DOUBT * mean) ** 2) ** 0.5)


def place_rise(
    edge: Rising,
    exposure_s: Measured,
    constant_s: Measured | None,
    period_s: float,
    noise: float,
) -> Measured:
    """Return when a lamp began to light: mean and spread of the posterior over places.

    ``constant_s`` is None for a lamp that lights at once.
    """
    places = _places(period_s, _FINE_PLACES_A_FRAME, edge.gap_s)
    constants = (0.0,) if constant_s is None else constant_s.nodes()
    misfits = np.stack(
        [
            _misfit(
                edge.levels,
                edge.after_s,
                places,
                min(e, period_s),
                max(tau, 0.0),
                noise,
                drawn=_DRAWN + _DRAWN_BY_NOISE * noise,
            )
            for e, tau in product(exposure_s.nodes(), constants)
        ]
    )
    chance = np.exp(-0.5 * (misfits - misfits.min())).sum(axis=0)
    chance /= chance.sum()
    mean = float(chance @ places)
    return Measured(edge.half_s + mean, float(chance @ (places - mean) ** 2) ** 0.5)


def rises_once(
    edge: Rising,
    exposure_s: Measured,
    constant_s: Measured | None,
    period_s: float,
    noise: float,
) -> bool:
    """Tell whether a single rise explains every frame around the edge."""
    tau = 0.0 if constant_s is None else constant_s.value
    places = _places(period_s, gap_s=edge.gap_s)
    worst = min(
        float(np.abs(_shares(edge.after_s, places, e, tau) - edge.levels).max(axis=1).min())
        for e in exposure_s.nodes()
    )
    return worst <= max(_OTHER_THAN_A_RISE, _CLEAR_OF_NOISE * noise)


def _of_equal_length(edges: list[Rising]) -> list[tuple[Samples, Samples]]:
    """Return levels and times of edges of as many frames together, each of shape (edges, k)."""
    lengths = sorted({edge.levels.size for edge in edges})
    groups = [[edge for edge in edges if edge.levels.size == length] for length in lengths]
    return [
        (np.stack([e.levels for e in group]), np.stack([e.after_s for e in group]))
        for group in groups
    ]


def _places(period_s: float, places_a_frame: int = _PLACES_A_FRAME, gap_s: float = 0.0) -> Samples:
    """Return where the light may begin, from the first frame that is half lit.

    Where frames are lost before it, as far back as the one before them.
    """
    lost = round(gap_s / period_s) - 1 if np.isfinite(gap_s) else 0
    places: Samples = period_s * np.arange(-1.5 - max(0, lost), 1.0, 1 / places_a_frame)
    return places


def _shares(after_s: Samples, places: Samples, exposure_s: float, constant_s: float) -> Samples:
    """Return the lit share of every frame for every place, shape (..., places, k)."""
    after = after_s[..., None, :] - places[:, None]
    return gathered(after, max(exposure_s, 1e-5), constant_s)


def _misfit(
    levels: Samples,
    after_s: Samples,
    places: Samples,
    exposure_s: float,
    constant_s: float,
    noise: float,
    *,
    most: float = np.inf,
    drawn: float = 0.0,
) -> Samples:
    """Return minus twice the log likelihood of every place, shape (..., places).

    A frame lit in part counts with so much doubt more as ``drawn`` says.
    """
    share = _shares(after_s, places, exposure_s, constant_s)
    doubt = TONE_CURVE_DOUBT * 4 * share * (1 - share)
    variance = noise**2 + _ENCODING**2 + doubt**2
    inside = np.minimum(1.0, np.minimum(share, 1 - share) / _WELL_INSIDE)
    variance = variance + (drawn * inside) ** 2
    off = ((levels[..., None, :] - share) ** 2 / variance).sum(axis=-1)
    misfit: Samples = np.minimum(off, most) + np.log(variance).sum(axis=-1)
    return misfit
