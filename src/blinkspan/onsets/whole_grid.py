"""The panel's refresh grid from all that moves in a take, not only from its answers.

A picture that changes on the grid ``t0 + n / refresh`` makes the change of every
band of rows pulse at that rate, each band later than the one above by the scan
less the camera's readout. So the bands' Fourier sums are added up with the delay
that each slant would give them, as an array of microphones is steered, and the
rate and slant that stand out most are the panel's. Steering also tells the panel from what
pulses in all rows at once: a strobed backlight, lamps on the mains, and the rhythm
in which an encoder spends its bits.

References
----------
D. H. Johnson and D. E. Dudgeon, *Array Signal Processing* (1993), ch. 4: delay-and-sum
beamforming (from memory).
CTA-861: 1080 of 1125 lines carry the picture, 0.96 of a refresh from top to bottom.
"""

import math
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.row_changes import RowChanges
from blinkspan.profiles import CTA_SCAN_FRACTION
from blinkspan.quantities import Measured, rectangular
from blinkspan.traces.trace import Samples

_CLOCK_REACH = 500e-6  # how far a camera's and a console's clock may differ together
_STANDS_OUT = 8.0  # times the power of neighbouring rates
_STROBED = 0.05  # of the mean light: so deep a swing in all rows at once is a strobed backlight
_PULSES = 50.0  # times the power of neighbouring rates that such a swing stands out
_CLEAR_OF_NONE = 8.0  # standard uncertainties that a scan's slant is away from none
_AS_LOUD = 0.5  # of what is heard of all rows at once: rows that do pulse at once reach 0.04 of it
_FASTEST_SEEN = 0.501  # turns a camera frame: a faster change is told from a slower one no more
_CONTROLS = np.concatenate([np.linspace(0.93, 0.98, 12), np.linspace(1.02, 1.07, 12)])
_SLANTS = 25
_PIECES = 16
_FEWEST_PIECES = 6
_SHORTEST_PIECE_S = 0.4
_LIVELY = 0.01  # of the mean light: where the busiest tenth of changes is less, too little moves


class NoGrid(StrEnum):
    """Why no refresh grid is seen."""

    STILL = "still picture"
    UNSTEADY = "no steady refresh"
    STROBED = "strobed backlight"
    SHORT = "too short"


@dataclass(frozen=True, slots=True)
class WholeGrid:
    """The refresh grid of a whole take, in the clock of frames.

    Attributes
    ----------
    refresh_hz : Measured
        As the camera's clock has it.
    nominal_hz : float
        The known rate that it is held to be.
    zero_s : Measured
        A refresh's instant at ``row_px``, before half an exposure is added.
    slant_s_per_px : Measured
        How much later the row below changes: the scan's pace less the readout's.
    stands_out : float
        Power over that of neighbouring rates.
    """

    refresh_hz: Measured
    nominal_hz: float
    zero_s: Measured
    slant_s_per_px: Measured
    row_px: float
    stands_out: float

    @property
    def clock_ppm(self) -> Measured:
        """How much faster than stated the camera ran, in parts per million.

        A film of a fast camera, read at its stated rate, is stretched: the refresh seems slow.
        Assumes that the signal runs at its nominal rate.
        """
        ratio = self.nominal_hz / self.refresh_hz.value
        return Measured((ratio - 1) * 1e6, 1e6 * self.refresh_hz.u / self.refresh_hz.value)


@dataclass(frozen=True, slots=True)
class _Beam:
    power: float
    rate_hz: float
    beside: float
    slant: float

    @property
    def heard(self) -> float:
        """The power that ``power`` holds against that beside."""
        return self.power * self.beside


def fit_whole_grid(
    changes: RowChanges, period_s: float, rates_hz: list[float], panel_px: float | None
) -> WholeGrid | NoGrid:
    """Return the refresh grid that a take's changes lie on, or why none is seen.

    Parameters
    ----------
    changes : RowChanges
    period_s : float
        Of the camera's frames.
    rates_hz : list of float
        Nominal rates to try; those that the camera cannot tell (above half its
        own rate by more than a thousandth) are passed over.
    panel_px : float or None
        Height of the panel; where it is unknown, the rows seen are taken as a half to all of it.
    """
    at, rows = changes.at_s, changes.row_px
    span = float(np.ptp(at)) if at.size else 0.0
    if span < _FEWEST_PIECES * _SHORTEST_PIECE_S or rows.size < 4:
        return NoGrid.SHORT
    x = changes.tamed
    below = rows - float(rows.mean())
    grids: list[WholeGrid] = []
    few_rows: list[WholeGrid] = []
    strobed = False
    for nominal in rates_hz:
        if nominal * period_s > _FASTEST_SEEN:
            continue
        sums = _Sums(x, at, nominal, below)
        slants = _slants(nominal, period_s, panel_px, float(np.ptp(rows)))
        beam = sums.steered(slants)
        at_once = sums.steered(np.linspace(-period_s, 0.0, 9) / max(float(np.ptp(rows)), 1.0))
        swing = 2 * math.sqrt(at_once.heard) / x.size
        strobed |= at_once.power > max(_PULSES, beam.power) and swing > _STROBED * changes.light
        if beam.power > _STANDS_OUT:
            grid = _refined(x, at, rows, beam, rates_hz)
            if _scanned(grid, slants):
                grids.append(grid)
            elif beam.heard > _AS_LOUD * at_once.heard and _maybe_scanned(grid, slants):
                few_rows.append(_of_known_scan(grid, slants))
    if not grids and not strobed and len(rates_hz) == 1:
        grids = few_rows  # of several rates, too little tells which it is
    if not grids:
        if strobed:
            return NoGrid.STROBED
        return NoGrid.STILL if _still(changes) else NoGrid.UNSTEADY
    loudest = max(grids, key=lambda grid: grid.stands_out)
    # Sharp changes also sound at twice their rate: a slower line of the same comb is the panel's.
    slower = [g for g in grids if abs(2 * g.refresh_hz.value / loudest.refresh_hz.value - 1) < 1e-3]
    return max(slower, key=lambda grid: grid.stands_out) if slower else loudest


def _scanned(grid: WholeGrid, slants: Samples) -> bool:
    """Tell whether rows change one after the other as a scan has them, and not together."""
    slant = grid.slant_s_per_px
    return _as_a_scan(slant, slants) and slant.value > _CLEAR_OF_NONE * slant.u


def _maybe_scanned(grid: WholeGrid, slants: Samples) -> bool:
    """Tell whether too few rows change for any scan to be clear of none."""
    slant = grid.slant_s_per_px
    return _as_a_scan(slant, slants) and _CLEAR_OF_NONE * slant.u > float(slants[0])


def _as_a_scan(slant: Measured, slants: Samples) -> bool:
    doubt = 2 * slant.u + 0.05 * float(slants[-1])
    return float(slants[0]) - doubt < slant.value < float(slants[-1]) + doubt


def _of_known_scan(grid: WholeGrid, slants: Samples) -> WholeGrid:
    """Return the grid with its slant weighed with those that a scan may have."""
    lowest, highest = float(slants[0]), float(slants[-1])
    scan = Measured((lowest + highest) / 2, rectangular((highest - lowest) / 2))
    return replace(grid, slant_s_per_px=grid.slant_s_per_px.weighed_with(scan))


def _still(changes: RowChanges) -> bool:
    busy = float(np.percentile(changes.values.mean(axis=1), 90.0))
    return busy <= _LIVELY * changes.light


def _steps(reach: float, step: float) -> Samples:
    count = max(2, math.ceil(reach / step))
    return np.linspace(-reach, reach, 2 * count + 1)


@dataclass(frozen=True, slots=True)
class _Sums:
    """The bands' Fourier sums about one nominal rate and about rates beside it, which compare."""

    x: Samples
    at: Samples
    nominal: float
    below: Samples

    def steered(self, slants: Samples) -> _Beam:
        """Return the rate and slant that stand out most, with the power against that beside."""
        span = float(np.ptp(self.at))
        rates = self.nominal * (1 + _steps(_CLOCK_REACH, 1 / (6 * span * self.nominal)))
        power = self._powers(rates, slants)
        beside = float(self._powers(self.nominal * _CONTROLS, slants).max(axis=1).mean())
        k, m = np.unravel_index(int(np.argmax(power)), power.shape)
        beside += 1e-30  # a film without noise has none beside
        return _Beam(float(power[k, m]) / beside, float(rates[k]), beside, float(slants[m]))

    def _powers(self, rates: Samples, slants: Samples) -> Samples:
        sums = np.exp(-2j * np.pi * rates[:, None] * self.at) @ self.x
        turns = rates[:, None, None] * slants[None, :, None] * self.below
        powers: Samples = np.abs((sums[:, None] * np.exp(2j * np.pi * turns)).sum(axis=2)) ** 2
        return powers


def _slants(rate_hz: float, period_s: float, panel_px: float | None, seen_px: float) -> Samples:
    """Return slants from the slowest camera's to a global shutter's, seconds a pixel."""
    scan = CTA_SCAN_FRACTION / rate_hz
    if panel_px is None:
        return np.linspace(max(scan - period_s, 0.1 * scan) / (2 * seen_px), scan / seen_px, 40)
    return np.linspace(0.97 * scan - period_s, 1.03 * scan, _SLANTS) / panel_px


def _refined(
    x: Samples, at: Samples, rows: Samples, beam: _Beam, rates_hz: list[float]
) -> WholeGrid:
    """Return the grid with rate and slant from straight lines through phases, and their doubt."""
    span, middle = float(np.ptp(at)), float(rows.mean())
    pieces = max(_FEWEST_PIECES, min(_PIECES, int(span / _SHORTEST_PIECE_S)))
    edges = np.linspace(at[0], at[-1], pieces + 1)
    which = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, pieces - 1)
    wave = np.exp(-2j * np.pi * beam.rate_hz * at)[:, None] * x
    by_piece = np.stack([wave[which == piece].sum(axis=0) for piece in range(pieces)])
    steer = np.exp(2j * np.pi * beam.rate_hz * beam.slant * (rows - middle))
    whole = (by_piece * steer).sum()
    turned = by_piece * steer / (whole / abs(whole))
    along = turned.sum(axis=1)
    offset, drift = _line((edges[1:] + edges[:-1]) / 2 - at.mean(), along)
    down = turned.sum(axis=0)
    _, lean = _line(rows - middle, down)
    # A phase of exp(-2 pi i f t): later by so many turns is lower by as many.
    rate = Measured(beam.rate_hz + drift.value / (2 * np.pi), drift.u / (2 * np.pi))
    phase = float(np.angle(whole)) + offset.value
    # The zero lies at the take's middle, where it is known best.
    nearest = float(at.mean())
    turns = -phase / (2 * np.pi) - beam.rate_hz * nearest
    zero = nearest + (turns - round(turns)) / beam.rate_hz
    per_second = 2 * np.pi * beam.rate_hz
    return WholeGrid(
        rate,
        min(rates_hz, key=lambda nominal: abs(nominal - rate.value)),
        Measured(zero, offset.u / per_second),
        Measured(beam.slant - lean.value / per_second, lean.u / per_second),
        middle,
        beam.power,
    )


def _line(at: Samples, sums: npt.NDArray[np.complex128]) -> tuple[Measured, Measured]:
    """Return offset and slope of the phases of ``sums`` over ``at``, weighed by their length."""
    phase, weight = np.angle(sums), np.abs(sums)
    weight = weight / weight.sum()
    centre = float(weight @ at)
    moved = at - centre
    square = float(weight @ moved**2)
    slope = float(weight @ (moved * phase)) / square
    level = float(weight @ phase)
    off = phase - level - slope * moved
    count = 1 / float(weight @ weight)  # as many as pieces where all weigh alike
    scatter = float(weight @ off**2) * count / max(count - 2, 1.0)
    u_slope = math.sqrt(scatter / count / square)
    u_level = math.hypot(math.sqrt(scatter / count), u_slope * centre)
    return Measured(level - slope * centre, u_level), Measured(slope, u_slope)
