"""What a take tells of its rig before any press is reported."""

from dataclasses import asdict, dataclass
from typing import Any

from blinkspan.onsets.cadence import Cadence
from blinkspan.onsets.whole_grid import NoGrid, WholeGrid
from blinkspan.presses.measurement import CameraFindings, TakeFacts
from blinkspan.quantities import Budget, Measured
from blinkspan.rig.advice import Advice
from blinkspan.rig.flicker import Flicker
from blinkspan.rig.lamp_quality import LampQuality
from blinkspan.traces.regions import Regions

SCHEMA = "blinkspan.inspection/1"


@dataclass(frozen=True, slots=True)
class AnswersGrid:
    """The refresh grid that the answers alone lie on."""

    refresh_hz: float
    nominal_hz: float
    answers: int


@dataclass(frozen=True, slots=True)
class Inspection:
    """All that the program sees of a rig; None where it sees nothing.

    Attributes
    ----------
    regions : Regions | None
        None where no lamp was given or found.
    camera : CameraFindings | None
        None without a lamp, since the exposure is told by it.
    grid : WholeGrid | NoGrid
        From all that moves on the panel.
    scan_s : Measured | None
        From the panel's first row to its last: the slant of the grid with the readout put back.
    times_slower : int | None
        How many times slower than filmed the take seems to be stamped.
    budget : Budget | None
        The usual terms of a press's uncertainty.
    notes : tuple of str
        What a person should know, each a plain sentence.
    """

    take: TakeFacts
    regions: Regions | None
    panel_seen: bool
    lamp: LampQuality | None
    flicker: Flicker | None
    camera: CameraFindings | None
    grid: WholeGrid | NoGrid
    scan_s: Measured | None
    cadence: Cadence | None
    answers_grid: AnswersGrid | None
    times_slower: int | None
    budget: Budget | None
    advice: tuple[Advice, ...]
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the inspection as plain values: milliseconds, hertz and pixels in its keys."""
        return {
            "schema": SCHEMA,
            "take": asdict(self.take),
            "regions": None if self.regions is None else _regions(self.regions),
            "panel_seen": self.panel_seen,
            "lamp": None if self.lamp is None else asdict(self.lamp),
            "flicker": None if self.flicker is None else asdict(self.flicker),
            "camera": None if self.camera is None else _camera(self.camera),
            "grid": _grid(self.grid),
            "scan_ms": _ms(self.scan_s),
            "cadence": None if self.cadence is None else asdict(self.cadence),
            "answers_grid": None if self.answers_grid is None else asdict(self.answers_grid),
            "times_slower": self.times_slower,
            "press": None if self.budget is None else _budget(self.budget),
            "advice": [
                {
                    "action": each.action,
                    "term": each.term,
                    "u_now_ms": _rounded(1e3 * each.u_now_s),
                    "u_then_ms": _rounded(1e3 * each.u_then_s),
                }
                for each in self.advice
            ],
            "notes": list(self.notes),
        }


def _regions(regions: Regions) -> dict[str, Any]:
    lamp, watch = regions.lamp, regions.watch
    return {
        "lamp": [lamp.x, lamp.y, lamp.width, lamp.height],
        "panel": None if regions.panel is None else [list(p) for p in regions.panel.corners],
        "watch": [watch.x, watch.y, watch.width, watch.height],
        "proposed": list(regions.proposed),
    }


def _camera(camera: CameraFindings) -> dict[str, Any]:
    return {
        "exposure_ms": _ms(camera.exposure_s),
        "exposure_source": camera.exposure_source,
        "readout_ms": _ms(camera.readout_s),
        "readout_source": camera.readout_source,
    }


def _grid(grid: WholeGrid | NoGrid) -> dict[str, Any]:
    if isinstance(grid, NoGrid):
        return {"found": False, "why_not": grid.value}
    return {
        "found": True,
        "nominal_hz": grid.nominal_hz,
        "refresh_hz": _plain(grid.refresh_hz),
        "zero_s": _plain(grid.zero_s),
        "zero_row_px": grid.row_px,
        "slant_us_per_px": _plain(grid.slant_s_per_px * 1e6),
        "clock_ppm": _plain(grid.clock_ppm),
    }


def _budget(budget: Budget) -> dict[str, Any]:
    leading = budget.leading
    return {
        "u_ms": _rounded(1e3 * budget.u_s),
        "leading": None if leading is None else leading.name,
        "terms": [
            {"name": term.name, "u_ms": _rounded(1e3 * term.u_s), "shared": term.shared}
            for term in budget.terms
        ],
    }


def _plain(measured: Measured) -> dict[str, float]:
    return {"value": _rounded(measured.value, 7), "u": _rounded(measured.u, 7)}


def _ms(measured_s: Measured | None) -> dict[str, float] | None:
    return None if measured_s is None else _plain(measured_s * 1e3)


def _rounded(value: float, digits: int = 4) -> float:
    return round(value, digits)
