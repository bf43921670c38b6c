"""When a lamp lit or went dark, from the lit fraction of one exposure.

A frame that the edge falls into gathers a fraction f of the full light: the
lamp lit (1 - f) of the way through that exposure. Where no frame is partial the
edge fell between two exposures, and only that gap is known.

References
----------
JCGM 100:2008 (GUM), 4.3.7: a value known only within a gap of width w has
standard uncertainty w / sqrt(12).
"""

import math
from dataclasses import dataclass

import numpy as np

from blinkspan.quantities import Measured
from blinkspan.traces.trace import Samples, Trace

# Cameras differ in their tone curve by a few per cent of light in the middle of the
# range (BT.709 against sRGB: 0.05 at half signal); taken as the standard doubt of f = 1/2.
TONE_CURVE_DOUBT = 0.03
# Encoders round a frame that differs little from its neighbours to look like them
# (staged takes: a lamp lit for 0.92 of a frame reads as fully lit), so that fractions this
# near to either end count as none, and the edge as anywhere that would read so.
_LEAST_PARTIAL = 0.06
_CLEAR_OF_NOISE = 4.0  # standard deviations; at 3 one edge in 300 is read from a frame of noise
_MOST_BLIND = 0.25  # however noisy the lamp (pulse-width modulation), half way is half way


@dataclass(frozen=True, slots=True)
class Edge:
    """One change of the lamp.

    Attributes
    ----------
    at_s : Measured
    partial : bool
        Whether a partly lit frame carried it.
    frame : int
        The first frame that is at least half way.
    """

    at_s: Measured
    partial: bool
    frame: int


@dataclass(frozen=True, slots=True)
class LitSpell:
    """A spell of light: the first and the one-past-last frame that are at least half lit.

    ``broken`` tells that the light was interrupted for less than a press can be (a bounce).
    """

    first: int
    stop: int
    broken: bool


# A thumb cannot open and close a control again within this time (common practice: a fast
# press repeats at ten to fifteen a second, half of it open).
SHORTEST_GAP_S = 0.020


def lit_spells(trace: Trace) -> list[LitSpell]:
    """Return the spells of light in order; gaps under ``SHORTEST_GAP_S`` are bridged.

    Parameters
    ----------
    trace : Trace
        0 dark, 1 lit.
    """
    lit = np.concatenate([[False], trace.values > 0.5, [False]])
    first = np.flatnonzero(lit[1:] & ~lit[:-1])
    stop = np.flatnonzero(lit[:-1] & ~lit[1:])
    spells: list[LitSpell] = []
    for a, b in zip(first.tolist(), stop.tolist(), strict=True):
        if spells and trace.start_s[a] - trace.start_s[spells[-1].stop - 1] < SHORTEST_GAP_S:
            spells[-1] = LitSpell(spells[-1].first, b, broken=True)
        else:
            spells.append(LitSpell(a, b, broken=False))
    return spells


def blind_share(noise: float, *, pulsed: bool = False) -> float:
    """Return how near to dark or lit a fraction must be to count as none."""
    return _MOST_BLIND if pulsed else min(_MOST_BLIND, max(_LEAST_PARTIAL, _CLEAR_OF_NOISE * noise))


def rising_edge(
    levels: Samples,
    start_s: Samples,
    frame: int,
    exposure_s: Measured,
    noise: float,
    *,
    pulsed: bool = False,
) -> Edge:
    """Return when the level rose through the given frame.

    Parameters
    ----------
    levels : ndarray, shape (n,)
        0 before, 1 after; for a lamp going dark pass ``1 - levels``.
    start_s : ndarray, shape (n,)
        Start of each exposure.
    frame : int
        The first frame that is at least half way; ``1 <= frame < n``.
    exposure_s : Measured
    noise : float
        Standard deviation of a level.
    pulsed : bool
        Whether the light comes in pulses: a partial frame then holds one or two of them,
        and tells only that the edge fell into its exposure.
    """
    e, blind = exposure_s.value, blind_share(noise, pulsed=pulsed)
    for partial in (frame - 1, frame):
        f = float(levels[partial])
        if blind < f < 1.0 - blind:
            u_fraction = 12**-0.5 if pulsed else math.hypot(noise, TONE_CURVE_DOUBT)
            u = math.hypot(e * u_fraction, (1 - f) * exposure_s.u)
            return Edge(Measured(float(start_s[partial]) + (1 - f) * e, u), True, frame)
    dark_until = float(start_s[frame - 1]) + e * (1 - blind)
    lit_from = float(start_s[frame]) + e * blind
    u = math.hypot((lit_from - dark_until) / math.sqrt(12.0), exposure_s.u / 2)
    return Edge(Measured((dark_until + lit_from) / 2, u), False, frame)
