"""When each press lit and left the lamp, and what that tells of the exposure."""

from dataclasses import dataclass, replace

import numpy as np

from blinkspan.onsets.edge import Edge, LitSpell, blind_share, rising_edge
from blinkspan.onsets.exposure import exposure_from_edges
from blinkspan.onsets.rise import Rising, place_rise, rises_once, rising, time_constant
from blinkspan.quantities import Measured
from blinkspan.traces.lamp import LampTrace
from blinkspan.traces.trace import Samples

_DRIFT = 0.2  # of the lit level: the half way between dark and lit is then in doubt
_FEWEST_LIT = 9
# Presses of a hand that agree to a frame are not equally long by chance from so many on.
_FEWEST_HELD, _ALIKE_FRAMES = 4, 1
_ENOUGH = 40  # presses tell how a lamp lights; more only cost time
# A contact seen to bounce in so many presses bounces unseen in others.
_FEWEST_BOUNCES, _OFTEN = 2, 0.1  # the latter of all presses


def exposure_of_edges(
    lamp: LampTrace, spells: list[LitSpell], constant_s: Measured | None, period_s: float
) -> Measured:
    """Return the exposure, in seconds, that the share of half-lit frames speaks for.

    A slow lamp leaves partial frames whatever the exposure: it tells nothing of it.
    A machine that holds each press equally long lets go at the place between two frames
    where it pressed, or always as far from it: such edges tell nothing new.
    """
    if constant_s is not None:
        return exposure_from_edges(0, 0, period_s)
    guess = Measured(period_s / 2, period_s / 4)
    lamp = replace(lamp, noise=lamp.steady_noise)  # whether a frame is partly lit, not by how much
    edges = [_first_edge(lamp, spell, guess) for spell in spells]
    if not _held_alike(spells, lamp.trace.values.size):
        ends = [dark_edge(lamp, spell, guess) for spell in spells]
        edges += [edge for edge in ends if edge is not None]
    return exposure_from_edges(
        sum(e.partial for e in edges),
        len(edges),
        period_s,
        blind_share(lamp.noise, pulsed=lamp.pulsed),
    )


def _held_alike(spells: list[LitSpell], frames: int) -> bool:
    """Tell whether all presses are held equally long, as no hand does."""
    held = [spell.stop - spell.first for spell in spells if spell.stop < frames]
    return len(held) >= _FEWEST_HELD and max(held) - min(held) <= _ALIKE_FRAMES


def lamp_constant(lamp: LampTrace, spells: list[LitSpell], period_s: float) -> Measured | None:
    """Return the lamp's time constant, in seconds; None where it lights at once, or in pulses."""
    if lamp.pulsed:
        return None
    spells = [spell for spell in spells if not is_unsteady(lamp, spell)]
    spells = spells[:: 1 + len(spells) // _ENOUGH]
    edges = [_rising(lamp, spell) for spell in spells]
    edges += [_falling(lamp, spell) for spell in spells if spell.stop < lamp.trace.values.size]
    return time_constant(edges, period_s, lamp.noise)


@dataclass(frozen=True, slots=True)
class LampRise:
    """How this take's lamp lights.

    Attributes
    ----------
    constant_s : Measured | None
        Its time constant; None where it lights at once.
    once : tuple of bool
        For each spell, whether a single rise explains what is seen.
    hidden_u_s : float
        Standard doubt that a contact which often bounces leaves in the presses where no
        bounce is seen: a first closing may fall wholly between two exposures.
    """

    constant_s: Measured | None
    once: tuple[bool, ...]
    hidden_u_s: float


def lamp_rise(
    lamp: LampTrace,
    spells: list[LitSpell],
    exposure: Measured,
    constant_s: Measured | None,
    period_s: float,
) -> LampRise:
    """Return how the lamp lights, press by press."""
    once = tuple(
        # Pulses and drift leave frames that no rise explains.
        not spell.broken
        and (
            lamp.pulsed
            or is_unsteady(lamp, spell)
            or rises_once(_rising(lamp, spell), exposure, constant_s, period_s, lamp.noise)
        )
        for spell in spells
    )
    often = once.count(False) >= max(_FEWEST_BOUNCES, _OFTEN * len(spells))
    # The frame that reads as the first lit one may then be a frame or more late: after a
    # first closing between two exposures a whole exposure may still be dark.
    return LampRise(constant_s, once, 2 * period_s / 3 if often else 0.0)


def lit_edge(lamp: LampTrace, spell: LitSpell, exposure: Measured, rise: LampRise) -> Measured:
    """Return when the lamp lit, in the clock of frames."""
    if lamp.pulsed:
        at = _first_edge(lamp, spell, exposure).at_s
    else:
        period_s = float(np.median(np.diff(lamp.trace.start_s)))
        at = place_rise(_rising(lamp, spell), exposure, rise.constant_s, period_s, lamp.noise)
    return Measured(at.value, float(np.hypot(at.u, rise.hidden_u_s)))


def _first_edge(lamp: LampTrace, spell: LitSpell, exposure: Measured) -> Edge:
    levels = _between_plateaus(lamp.trace.values, spell.first, spell.stop - spell.first)
    return rising_edge(
        levels, lamp.trace.start_s, spell.first, exposure, lamp.noise, pulsed=lamp.pulsed
    )


def _rising(lamp: LampTrace, spell: LitSpell) -> Rising:
    levels = _between_plateaus(lamp.trace.values, spell.first, spell.stop - spell.first)
    return rising(levels, lamp.trace.start_s, spell.first, spell.stop)


def _falling(lamp: LampTrace, spell: LitSpell) -> Rising:
    levels = _between_plateaus(lamp.trace.values, spell.stop, spell.stop - spell.first)
    return rising(1.0 - levels, lamp.trace.start_s, spell.stop, levels.size)


def dark_edge(lamp: LampTrace, spell: LitSpell, exposure: Measured) -> Edge | None:
    """Return when the lamp went dark, in the clock of frames; None where the take ends first."""
    if spell.stop >= lamp.trace.values.size:
        return None
    levels = _between_plateaus(lamp.trace.values, spell.stop, spell.stop - spell.first)
    # Fading to dark is a rise of darkness: the same fraction, the same arithmetic.
    return rising_edge(
        1.0 - levels, lamp.trace.start_s, spell.stop, exposure, lamp.noise, pulsed=lamp.pulsed
    )


def is_unsteady(lamp: LampTrace, spell: LitSpell) -> bool:
    """Tell whether the lamp's light drifts while the control is held."""
    lit = lamp.trace.values[spell.first + 1 : spell.stop - 1]
    if lit.size < _FEWEST_LIT:
        return False
    third = lit.size // 3
    begin, end = float(np.median(lit[:third])), float(np.median(lit[-third:]))
    return abs(end - begin) > _DRIFT * max(begin, end)


def _between_plateaus(values: Samples, frame: int, lit_frames: int) -> Samples:
    """Scale to this press's own dark and lit level: lamps sag and rooms change over a take."""
    reach = max(3, min(30, lit_frames - 2))
    around = values[max(0, frame - 40) : frame + 40]
    dark = around[around < 0.5]
    lit = values[max(0, frame - reach) : frame + reach]
    lit = lit[lit > 0.5]
    low = float(np.median(dark)) if dark.size >= 5 else 0.0
    high = float(np.median(lit)) if lit.size >= 3 else 1.0
    levels: Samples = (values - low) / (high - low)
    return levels
