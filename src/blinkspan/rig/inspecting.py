"""From the series of a take to what they tell of its rig."""

from blinkspan.errors import NothingToMeasure
from blinkspan.footage.frames import PictureFormat
from blinkspan.onsets.cadence import Cadence, cadence
from blinkspan.onsets.grid import KNOWN_RATES_HZ
from blinkspan.onsets.row_changes import row_changes
from blinkspan.onsets.whole_grid import NoGrid, WholeGrid, fit_whole_grid
from blinkspan.presses.measurement import CameraFindings, TakeFacts
from blinkspan.presses.measuring import TakePresses
from blinkspan.presses.slow_motion import SLOW_HZ, times_slower
from blinkspan.profiles import DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.rig.advice import advice_on, usual_budget
from blinkspan.rig.flicker import room_flicker
from blinkspan.rig.inspection import AnswersGrid, Inspection
from blinkspan.rig.lamp_quality import LampQuality, lamp_quality
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Quadrilateral, Regions


def inspected(
    take: TakeFacts,
    series: Series,
    regions: Regions | None,
    panel: Quadrilateral | None,
    found: TakePresses | None,
    display: DisplayProfile,
    why_no_lamp: str | None,
) -> Inspection:
    """Return what a take tells of its rig.

    Parameters
    ----------
    take : TakeFacts
    series : Series
        Its watched region is the whole panel, or the picture where no panel is known.
    regions : Regions or None
        None where there is no lamp; the series then hold none either.
    panel : Quadrilateral or None
    found : TakePresses or None
        The presses as measured, None where that could not be.
    display : DisplayProfile
    why_no_lamp : str or None
        The refusal, where the lamp could not be found or read.
    """
    period_s = series.clock.period_s
    height_px = None if panel is None else panel.height_px
    changes = row_changes(series.watch, series.watch_row_px, series.clock)
    rates = list(KNOWN_RATES_HZ) if display.refresh_hz is None else [display.refresh_hz]
    grid = fit_whole_grid(changes, period_s, rates, height_px)
    slower = None if found is None else found.times_slower
    if slower is None and take.rate_hz < SLOW_HZ and take.rate_source.startswith("container"):
        step = None if found is None else found.step
        slower = times_slower(take.rate_hz, step, changes, height_px)
    steps: Cadence | None = None
    if isinstance(grid, WholeGrid):
        steps = cadence(changes, grid, period_s)
    camera = None if found is None else found.camera
    budget = None if found is None else usual_budget(found.presses, display)
    advice = () if budget is None or camera is None else advice_on(budget, camera, period_s)
    lamp = None if regions is None else _lamp(series)
    return Inspection(
        take=take,
        regions=regions,
        panel_seen=panel is not None,
        lamp=lamp,
        flicker=None if regions is None else room_flicker(series),
        camera=camera,
        grid=grid,
        scan_s=_scan(grid, camera, height_px, series.picture),
        cadence=steps,
        answers_grid=_answers_grid(found),
        times_slower=slower,
        budget=budget,
        advice=advice,
        notes=_notes(why_no_lamp, panel, grid, found, slower, take, lamp),
    )


def _lamp(series: Series) -> LampQuality | None:
    try:
        return lamp_quality(series)
    except NothingToMeasure:
        return None


def _scan(
    grid: WholeGrid | NoGrid,
    camera: CameraFindings | None,
    panel_px: float | None,
    picture: PictureFormat,
) -> Measured | None:
    """Return the panel's scan, where a readout known apart from the panel parts the two."""
    if isinstance(grid, NoGrid) or camera is None or panel_px is None:
        return None
    if camera.readout_source != "given":
        return None
    row_s = camera.readout_s * (picture.shutter.down / picture.height_px)
    return (grid.slant_s_per_px + row_s) * panel_px


def _answers_grid(found: TakePresses | None) -> AnswersGrid | None:
    if found is None or found.step is None or found.step.grid is None:
        return None
    grid = found.step.grid
    return AnswersGrid(1 / grid.period_s, grid.nominal_hz, grid.ticks.size)


_NO_GRID = {
    NoGrid.STILL: "Too little moves on the screen between the presses to show its refresh; "
    "a slow pan or a running figure in the background would.",
    NoGrid.UNSTEADY: "The screen moves, but on no steady refresh that this camera can tell: "
    "variable refresh, or changes too faint or too small.",
    NoGrid.STROBED: "The whole screen pulses at once (a strobed backlight), which hides its scan.",
    NoGrid.SHORT: "The take is too short, or shows too few rows of the screen, to tell its "
    "refresh grid.",
}


def _notes(
    why_no_lamp: str | None,
    panel: Quadrilateral | None,
    grid: WholeGrid | NoGrid,
    found: TakePresses | None,
    slower: int | None,
    take: TakeFacts,
    lamp: LampQuality | None,
) -> tuple[str, ...]:
    notes = []
    if slower is not None:
        notes.append(
            f"The panel's refresh is seen {slower} times slower than any panel's: this is slow "
            "motion stamped for playback; every time here is too long by as much; "
            f"give --capture-rate {take.rate_hz * slower:g}."
        )
    if why_no_lamp is not None:
        notes.append(f"{why_no_lamp[:1].upper()}{why_no_lamp[1:].rstrip('.')}.")
    if panel is None:
        notes.append(
            "No screen was found for sure: give --panel, or frame it so that all four of its "
            "edges stand out."
        )
    if isinstance(grid, NoGrid) and slower is None:
        notes.append(_NO_GRID[grid])
    if take.dropped_frames:
        notes.append(
            f"The camera left out {take.dropped_frames} frames; presses beside a gap are doubtful. "
            "A faster card or a shorter take helps."
        )
    if lamp is not None and lamp.pulsed:
        notes.append("The lamp's light is pulsed or flickers; drive it with steady current.")
    if found is not None and slower is None:
        notes += [note for note in found.notes if "capture-rate" not in note]
    return tuple(dict.fromkeys(notes))
