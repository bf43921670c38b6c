"""From the series of one take to its presses.

All instants are found in the clock of frames (as if every row of a frame were
exposed together) and carried to true time at the end, when the readout is known.
"""

from dataclasses import dataclass, replace

import numpy as np

from blinkspan.errors import NothingToMeasure
from blinkspan.footage.frames import Clock
from blinkspan.onsets.edge import lit_spells
from blinkspan.onsets.row_changes import row_changes
from blinkspan.onsets.step import Step
from blinkspan.onsets.ticks import Ticks, ticks_of
from blinkspan.presses.best_step import best_step
from blinkspan.presses.by_refreshes import stepped_by_refreshes
from blinkspan.presses.finding import find_answers
from blinkspan.presses.hastened import times_hastened
from blinkspan.presses.lamp_edges import exposure_of_edges, lamp_constant, lamp_rise
from blinkspan.presses.measurement import CameraFindings
from blinkspan.presses.panel_seen import display_seen
from blinkspan.presses.panel_step import PanelStep, Stepped, panel_step
from blinkspan.presses.press import Press, Reason, Verdict
from blinkspan.presses.pressing import Context, press_of
from blinkspan.presses.searching import Found, searches
from blinkspan.presses.shutter import readout_from_slant
from blinkspan.presses.slow_motion import SLOW_HZ, slow_motion_note, times_slower
from blinkspan.presses.strays import stray_answers
from blinkspan.presses.strobed import strobed, strobed_step
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.lamp import lamp_trace
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Regions
from blinkspan.traces.trace import Trace

_FLASHING = (
    "The panel is lit by flashes of a strobed backlight; each answer begins with the flash that "
    "first shows it."
)
_NOTHING_FOUND = (
    "No press was found answered: nothing in the watched part changes alike after every press, or "
    "what moves there by itself hides it. Where you see an answer, put --watch closely around it "
    "and give --game-rate."
)
_SAY_RATES = " Where they are fixed, say the panel's refresh and the game's frame rate."
_GROWING_U_S = 0.01  # a doubt as large is that of an unseen game frame
_UNTOLD = "container"  # how a clock's source begins where nobody told the rate


@dataclass(frozen=True, slots=True)
class TakePresses:
    """What the series of one take hold.

    Attributes
    ----------
    step : Step | None
        The panel's step that the answers share.
    times_slower : int | None
        How many times slower than filmed the take is surely stamped.
    """

    camera: CameraFindings
    presses: tuple[Press, ...]
    unpaired_responses: tuple[Measured, ...]
    lamp_trace: Trace
    response_trace: Trace
    notes: tuple[str, ...]
    step: Step | None
    times_slower: int | None


def measure_presses(
    series: Series, regions: Regions, camera: CameraProfile, display: DisplayProfile
) -> TakePresses:
    """Return every press of a take, measured.

    Parameters
    ----------
    series : Series
    regions : Regions
    camera, display : CameraProfile, DisplayProfile
        What is known beforehand; what is not is learnt from the take or budgeted.

    Raises
    ------
    NothingToMeasure
        No lamp, a lamp that never blinks, or no press that begins within the take.
    """
    start_s, period = series.clock.start_s, series.clock.period_s
    lamp = lamp_trace(series, row_s=0.0)
    spells = [s for s in lit_spells(lamp.trace) if s.first > 0]
    if not spells:
        raise NothingToMeasure(
            "no presses: the lamp is lit when the take begins and is not pressed again; "
            "start filming before the first press"
        )
    constant = lamp_constant(lamp, spells, period)
    exposure = camera.exposure_s or exposure_of_edges(lamp, spells, constant, period)
    todo = searches(start_s, [s.first for s in spells], period)
    ticks = None
    if not _untold(series.clock):
        display, ticks = _display(series, regions, display, exposure)
    flashing = strobed(series, exposure, camera, display)
    if flashing is not None:
        series = flashing.series
        exposure = flashing.strobe.exposure_s
    found = find_answers(series, todo)
    if flashing is None:

        def step_of(answers: Found) -> Stepped:
            return panel_step(series, regions, todo, answers, exposure, camera, display, ticks)

        def by_refreshes(best: Stepped) -> Stepped | None:
            return stepped_by_refreshes(
                series, regions, todo, best, exposure, camera, display, ticks
            )

        found, panel, late = best_step(series, todo, found, exposure, ticks, step_of, by_refreshes)
    else:
        found, panel, late = strobed_step(flashing, regions, todo, found, display)
    if panel is not None:
        exposure = panel.exposure_s
    readout = readout_from_slant(
        series,
        regions,
        camera,
        display if panel is None else panel.display,
        None if panel is None else panel.step,
    )
    if flashing is not None and camera.readout_s is None and series.picture.shutter.down:
        readout = flashing.readout
    rise = lamp_rise(lamp, spells, exposure, constant, period)
    context = Context(
        series, regions, lamp, spells, rise, exposure, readout, display, todo, found, panel
    )
    presses = tuple(press_of(context, k) for k in range(len(spells)))
    slower = _times_slower(context, camera)
    if slower is not None:
        presses = tuple(_in_slow_motion(press) for press in presses)
    row_s = readout.until(regions.watch).value
    # Where no press is answered, what was taken for late answers was the scene's own doing too.
    late = late if any(found.answers) else []
    strays = sorted([*late, *stray_answers(series, todo, found)])
    return TakePresses(
        CameraFindings(
            exposure,
            "given" if camera.exposure_s is not None else "from the take",
            readout.whole_s,
            readout.source,
        ),
        presses,
        tuple(Measured(t + row_s, period) for t in strays),
        Trace(
            lamp.trace.values,
            lamp.trace.start_s + readout.until(regions.lamp).value,
        ),
        _response_trace(context, row_s),
        (*(() if flashing is None else (_FLASHING,)), *_notes(context, slower)),
        None if panel is None else panel.step,
        slower,
    )


def _display(
    series: Series, regions: Regions, display: DisplayProfile, exposure: Measured
) -> tuple[DisplayProfile, Ticks | None]:
    """Return the display, with what was not told of it but is seen in the take, and its ticks."""
    changes = row_changes(series.watch, series.watch_row_px, series.clock)
    panel_px = None if regions.panel is None else regions.panel.height_px
    period_s = series.clock.period_s
    display, grid = display_seen(changes, period_s, panel_px, display)
    return display, None if grid is None else ticks_of(changes, grid, exposure, period_s)


def _times_slower(context: Context, camera: CameraProfile) -> int | None:
    """Return how many times slower than filmed the take is surely stamped, None where it is not."""
    clock, panel = context.series.clock, context.panel
    if not _untold(clock):
        return None
    changes = row_changes(context.series.watch, context.series.watch_row_px, clock)
    height_px = None if context.regions.panel is None else context.regions.panel.height_px
    step = None if panel is None else panel.step
    times = times_slower(float(clock.rate_hz), step, changes, height_px)
    if times is None:
        times = times_hastened(context.series, context.regions, camera, context.display)
    return times


def _untold(clock: Clock) -> bool:
    """Tell whether a take may be slow motion of which nobody said so."""
    return float(clock.rate_hz) < SLOW_HZ and clock.source.startswith(_UNTOLD)


def _in_slow_motion(press: Press) -> Press:
    """Return the press doubtful: its milliseconds are not real ones."""
    return replace(press, verdict=Verdict.DOUBTFUL, reason=Reason.SLOW_MOTION)


def _response_trace(context: Context, row_s: float) -> Trace:
    start_s = context.series.clock.start_s
    values = np.zeros(start_s.size)
    if context.panel is not None:
        step = context.panel.step
        weight = step.direction * (step.strength / float(step.strength @ step.strength))[:, None]
        for course in context.found.courses:
            first = int(np.searchsorted(start_s, course.start_s[0]))
            along = np.einsum("mbq,bq->m", course.values, weight)
            values[first : first + along.size] = along
    return Trace(values, start_s + row_s)


def _notes(context: Context, slower: int | None) -> tuple[str, ...]:
    notes = []
    if context.lamp.trace.values[0] > 0.5:
        notes.append("The lamp is lit when the take begins; that press is left out.")
    if not any(context.found.answers):
        notes.append(_NOTHING_FOUND)
    if context.lamp.clipped:
        notes.append("The lamp is clipped while lit; film it darker or let its glow be seen.")
    if context.readout.source == "assumed":
        notes.append(
            "The camera's readout time is unknown: six tenths of a frame are taken, and anything "
            "from none to a whole frame is budgeted. Give --readout, 0 for a camera that exposes "
            "all rows at once; where panel and refresh are known, an answer over many rows would "
            "tell any other too."
        )
    if context.panel is not None and context.panel.pulsed:
        notes.append(
            "The panel's light seems to come in pulses at the camera's own pace, so that only a "
            "part of each exposure sees it; which part is unknown and budgeted."
        )
    if (
        context.panel is not None
        and context.panel.display.game_rate_hz is None
        and context.panel.faint_u_s > _GROWING_U_S
    ):
        notes.append(
            "The answers grow so slowly that their first game frame may be too faint to see; half "
            "a game frame at 30 a second is budgeted. Say the game's frame rate."
        )
    clock = context.series.clock
    held_s = [(s.stop - s.first) * clock.period_s for s in context.spells]
    step = None if context.panel is None else context.panel.step
    slow = slow_motion_note(float(clock.rate_hz), held_s, step)
    if slower is not None:
        slow = (
            f"The panel's refresh is seen {slower} times slower than any panel's (60 Hz as "
            f"{60 / slower:g} Hz): this is slow motion stamped for playback, "
            "its times are not real ones and no press is accepted; "
            f"give --capture-rate {float(clock.rate_hz) * slower:g}."
        )
    # A grid read on a false clock would only mislead.
    notes += _grid_notes(context.panel) if slow is None else [slow]
    return tuple(notes)


def _grid_notes(panel: PanelStep | None) -> list[str]:
    if panel is None or len(panel.step.begins) < 2:
        return []
    grid = panel.step.grid
    if grid is None:
        told = panel.display.refresh_hz is not None and panel.display.game_rate_hz is not None
        return [
            "The answers show no refresh grid (too few, too faint or variable refresh); "
            "each is timed by itself." + ("" if told else _SAY_RATES)
        ]
    ppm = (grid.period_s * grid.nominal_hz - 1) * 1e6
    differs = f"{ppm:+.0f}".replace("-", "\N{MINUS SIGN}")
    return [
        f"The answers begin on a refresh grid of {1 / grid.period_s:.3f} Hz; against "
        f"{grid.nominal_hz:.3f} Hz the camera's clock differs by {differs} parts per million."
    ]
