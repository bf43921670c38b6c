"""The lamp's light against time, from 0 (dark) to 1 (lit).

The room's own light is taken off first: what a ring around the lamp sees of
mains flicker is fitted to the lamp's dark frames and subtracted. A clipped lamp
is read from those of its pixels that never clip (its glow), where there are any.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.errors import NothingToMeasure
from blinkspan.footage.frames import PictureFormat
from blinkspan.traces.light import FULL_SCALE, highest_code, light_of_codes
from blinkspan.traces.reduction import Light, Series
from blinkspan.traces.trace import Samples, Trace

_LEAST_CONTRAST = 0.002  # of full light; a lit LED on film is far above (common practice)
_AT_ONCE = 4096  # frames
_SUDDEN = 4  # frames within which a lamp lights; a light that drifts takes far longer
_CLEAR_OF_NOISE = 5.0  # standard deviations between dark and lit before a lamp is believed
# Of clipped light: an encoder blurs a clipped disc into its rim (staged takes: down to 0.85).
_SURELY_UNCLIPPED = 0.7
# Of the lit level, for each time that an encoder's steps are coarser than good film's: what it
# leaves out of a lamp that has just changed (films of three renderers).
_CODED_NOISE = 0.015
_GLOW_NOISE = 0.05  # of the glow: what the encoder's work on the clipped disc leaves around it
# Spread of the lit level, alone and over the dark one's, from which the lamp is held to be
# pulsed: a steady one spreads by 0.01 (staged takes), a camera's noise hardly more when lit.
_PULSED, _PULSED_OVER_DARK = 0.02, 4.0
# And from frame to frame, as a share of that: pulses scatter (0.8), while an encoder that coded
# the lamp roughly at first mends it over several frames (0.1).
_RESTLESS = 0.5
# Of the lit level: with more noise a lamp of some twenty codes was read by up to 7 ms wrongly,
# with less none was (films of a fifth renderer).
_FAINT = 0.1


@dataclass(frozen=True, slots=True)
class LampTrace:
    """The lamp's trace and how good it is.

    Attributes
    ----------
    trace : Trace
        0 dark, 1 lit; times are those of the lamp's own middle row.
    noise : float
        Standard deviation of a dark or a lit frame, whichever is more, in units of the lit level.
    steady_noise : float
        The same of frames that are like their neighbours; less for a lamp read from its glow,
        of which an encoder leaves more in doubt where the lamp has just changed.
    clipped : bool
        True where all of the lamp is at the top of the code range while lit, so
        that the lit fraction of a frame reads too high.
    pulsed : bool
        Whether the lit lamp's light comes in pulses, so that exposures gather more or fewer.
    """

    trace: Trace
    noise: float
    steady_noise: float
    clipped: bool
    pulsed: bool

    @property
    def faint(self) -> bool:
        """Whether the lamp hardly stands out of what encoder and camera make of its place."""
        return not self.pulsed and self.noise > _FAINT


def lamp_trace(series: Series, row_s: float) -> LampTrace:
    """Return the lamp's trace.

    Parameters
    ----------
    series : Series
    row_s : float
        Readout time per picture row, seconds.

    Raises
    ------
    NothingToMeasure
        The region never changes by more than its noise, or only drifts: no lamp, or one that
        never blinks.
    """
    around = series.around.astype(np.float64) / FULL_SCALE
    values, lit = _freed(_mean_light(series.lamp), around)
    _refuse_a_lamp_that_never_blinks(values, lit)
    coded = _CODED_NOISE * (series.picture.coarseness - 1.0)
    clipped, least_noise = False, coded
    if series.lamp_clipped[lit].mean() > 0.2:
        pixels: Samples = series.lamp.reshape(series.lamp.shape[0], -1) / FULL_SCALE
        glow = _unclipped(pixels, lit, _white(series.picture))
        clipped, least_noise = glow is None, max(least_noise, _GLOW_NOISE)
        if glow is not None:
            values, lit = _freed(pixels[:, glow].mean(axis=1), around)
    dark_level, lit_level = float(np.median(values[~lit])), float(np.median(values[lit]))
    values = (values - dark_level) / (lit_level - dark_level)
    start_s = series.clock.start_s + series.lamp_region.middle_row_px * row_s
    dark, bright, restless = _spread(values[~lit]), *_lit_spreads(values, lit)
    pulsed = bright > max(_PULSED, _PULSED_OVER_DARK * dark) and restless > _RESTLESS * bright
    steady = max(dark, bright, coded)
    return LampTrace(Trace(values, start_s), max(steady, least_noise), steady, clipped, pulsed)


def _mean_light(lamp: Light) -> Samples:
    """Return each frame's mean, some frames at a time: a long take's in float64 are much memory."""
    frames = lamp.reshape(lamp.shape[0], -1)
    parts = [frames[at : at + _AT_ONCE] for at in range(0, frames.shape[0], _AT_ONCE)]
    return np.concatenate([(part / FULL_SCALE).mean(axis=1) for part in parts])


def _lit_spreads(values: Samples, lit: npt.NDArray[np.bool_]) -> tuple[float, float]:
    """Return how the lit level spreads around its own median of each spell, and frame by frame.

    Only frames whose neighbours are lit too count: in no other does the lamp change.
    """
    edges = np.flatnonzero(np.diff(lit.astype(np.int8), prepend=0, append=0))
    spells = [values[a + 1 : b - 1] for a, b in edges.reshape(-1, 2).tolist() if b - a > 2]
    if not spells:
        return 0.0, 0.0
    levels = np.concatenate([spell - np.median(spell) for spell in spells])
    steps = np.concatenate([np.diff(spell) for spell in spells])
    return _spread(levels), _spread(steps) / float(np.sqrt(2.0))


def two_levels(values: Samples) -> tuple[float, float]:
    """Return the dark and the lit level: the split that leaves least scatter inside both parts."""
    ordered = np.sort(values)
    n = ordered.size
    sums, squares = np.cumsum(ordered), np.cumsum(ordered**2)
    below = np.arange(1, n)
    above = n - below
    scatter = (squares[:-1] - sums[:-1] ** 2 / below) + (
        (squares[-1] - squares[:-1]) - (sums[-1] - sums[:-1]) ** 2 / above
    )
    split = int(np.argmin(scatter)) + 1
    return float(np.median(ordered[:split])), float(np.median(ordered[split:]))


def _freed(values: Samples, around: Samples) -> tuple[Samples, npt.NDArray[np.bool_]]:
    """Return the lamp's light without the room's, and in which frames it is lit."""
    lit = values > sum(two_levels(values)) / 2
    values = _without_room_light(values, around, lit)
    return values, values > sum(two_levels(values)) / 2


def _refuse_a_lamp_that_never_blinks(values: Samples, lit: npt.NDArray[np.bool_]) -> None:
    noise = _spread(np.diff(values)) / np.sqrt(2.0)
    contrast = float(np.median(values[lit]) - np.median(values[~lit])) if lit.any() else 0.0
    jump = float(np.abs(values[_SUDDEN:] - values[:-_SUDDEN]).max()) if lit.any() else 0.0
    if contrast > max(_LEAST_CONTRAST, _CLEAR_OF_NOISE * noise) and jump > contrast / 2:
        return
    level = float(np.median(values))
    if level > 0.25:
        raise NothingToMeasure(
            f"the lamp region stays at {100 * level:.0f} % light for the whole take: the lamp is "
            "always on or the region shows something else; check --lamp and the wiring"
        )
    raise NothingToMeasure(
        "no lamp found: nothing in the lamp region lights up; "
        "check that --lamp X,Y,W,H covers the lamp and that it was pressed during the take"
    )


def _white(picture: PictureFormat) -> float:
    """Return the light of a clipped pixel, which in video range is below the table's top."""
    return float(light_of_codes(picture)[highest_code(picture)]) / FULL_SCALE


def _unclipped(
    pixels: Samples, lit: npt.NDArray[np.bool_], white: float
) -> npt.NDArray[np.bool_] | None:
    """Return which pixels see the lamp without clipping, or None where there are too few."""
    level = np.percentile(pixels[lit], 90, axis=0)
    contrast = level - np.median(pixels[~lit], axis=0)
    good = (level < _SURELY_UNCLIPPED * white) & (contrast > 0.05 * contrast.max())
    return good if good.sum() >= 4 else None


def _without_room_light(values: Samples, around: Samples, lit: npt.NDArray[np.bool_]) -> Samples:
    """Take off the part of the dark frames that follows the ring around the lamp."""
    dark = ~lit
    room = around - around[dark].mean()
    power = float(room[dark] @ room[dark])
    if power <= 0:
        return values
    share = float(room[dark] @ (values[dark] - values[dark].mean())) / power
    without: Samples = values - share * room
    return without


def _spread(values: Samples) -> float:
    """Return the standard deviation of the bulk: 1.4826 times the median deviation."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values)))) if values.size else 0.0
