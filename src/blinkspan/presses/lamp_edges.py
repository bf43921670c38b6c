"""When each press lit and left the lamp, and what that tells of the exposure."""

import numpy as np

from blinkspan.onsets.edge import Edge, LitSpell, blind_share, rising_edge
from blinkspan.onsets.exposure import exposure_from_edges
from blinkspan.quantities import Measured
from blinkspan.traces.lamp import LampTrace
from blinkspan.traces.trace import Samples

_DRIFT = 0.2  # of the lit level: the half way between dark and lit is then in doubt
_FEWEST_LIT = 9


def exposure_of_edges(lamp: LampTrace, spells: list[LitSpell], period_s: float) -> Measured:
    """Return the exposure, in seconds, that the share of half-lit frames speaks for."""
    guess = Measured(period_s / 2, period_s / 4)
    edges = [
        edge
        for spell in spells
        for edge in (lit_edge(lamp, spell, guess), dark_edge(lamp, spell, guess))
        if edge is not None
    ]
    return exposure_from_edges(
        sum(e.partial for e in edges), len(edges), period_s, blind_share(lamp.noise)
    )


def lit_edge(lamp: LampTrace, spell: LitSpell, exposure: Measured) -> Edge:
    """Return when the lamp lit, in the clock of frames."""
    levels = _between_plateaus(lamp.trace.values, spell.first, spell.stop - spell.first)
    return rising_edge(levels, lamp.trace.start_s, spell.first, exposure, lamp.noise)


def dark_edge(lamp: LampTrace, spell: LitSpell, exposure: Measured) -> Edge | None:
    """Return when the lamp went dark, in the clock of frames; None where the take ends first."""
    if spell.stop >= lamp.trace.values.size:
        return None
    levels = _between_plateaus(lamp.trace.values, spell.stop, spell.stop - spell.first)
    # Fading to dark is a rise of darkness: the same fraction, the same arithmetic.
    return rising_edge(1.0 - levels, lamp.trace.start_s, spell.stop, exposure, lamp.noise)


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
