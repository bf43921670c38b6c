"""How well the lamp serves: its levels, its steadiness and what would blunt an onset."""

from dataclasses import dataclass

from blinkspan.onsets.edge import lit_spells
from blinkspan.presses.lamp_edges import is_unsteady
from blinkspan.traces.lamp import lamp_trace, two_levels
from blinkspan.traces.light import FULL_SCALE
from blinkspan.traces.reduction import Series

_MUCH_CLIPPED = 0.2  # of the lit frames: from here on the glow is read instead


@dataclass(frozen=True, slots=True)
class LampQuality:
    """The lamp as filmed; levels are shares of full light over the lamp's region.

    Attributes
    ----------
    noise : float
        Standard deviation of a frame's level, as a share of the lit level.
    clipped_share : float
        Share of the lit frames in which part of the lamp is at the top of the code range.
    read_from_glow : bool
        Whether so much clips that only the light beside the lamp's middle is used.
    clipped : bool
        Whether even that is not to be had, so that onsets are blunted.
    pulsed : bool
        Whether the lit level scatters as under pulse-width modulation.
    unsteady_presses : int
        Presses during which the level drifts.
    """

    dark_light: float
    lit_light: float
    noise: float
    clipped_share: float
    read_from_glow: bool
    clipped: bool
    pulsed: bool
    presses: int
    unsteady_presses: int


def lamp_quality(series: Series) -> LampQuality:
    """Return how well the lamp of a take serves.

    Raises
    ------
    NothingToMeasure
        The region never blinks.
    """
    lamp = lamp_trace(series, row_s=0.0)
    levels = lamp.trace.values
    spells = [spell for spell in lit_spells(lamp.trace) if spell.first > 0]
    whole = series.lamp.reshape(levels.size, -1).mean(axis=1) / FULL_SCALE
    dark_light, lit_light = two_levels(whole)
    share = float(series.lamp_clipped[levels > 0.5].mean())
    return LampQuality(
        dark_light=dark_light,
        lit_light=lit_light,
        noise=lamp.noise,
        clipped_share=share,
        read_from_glow=share > _MUCH_CLIPPED and not lamp.clipped,
        clipped=lamp.clipped,
        pulsed=lamp.pulsed,
        presses=len(spells),
        unsteady_presses=sum(lamp.faint or is_unsteady(lamp, spell) for spell in spells),
    )
