"""From the series of one take to its presses.

All instants are found in the clock of frames (as if every row of a frame were
exposed together) and carried to true time at the end, when the readout is known.
"""

from dataclasses import dataclass

import numpy as np

from blinkspan.errors import NothingToMeasure
from blinkspan.onsets.edge import Edge, LitSpell, blind_share, lit_spells, rising_edge
from blinkspan.onsets.exposure import exposure_from_edges
from blinkspan.onsets.grid import KNOWN_RATES_HZ
from blinkspan.onsets.joint import Known
from blinkspan.onsets.softened import Bands
from blinkspan.onsets.step import Step, fit_step
from blinkspan.presses.measurement import CameraFindings
from blinkspan.presses.press import Press
from blinkspan.presses.searching import Answer, Found, Learnt, find_again, find_answers, searches
from blinkspan.presses.shutter import Readout, readout_from_slant, slants_to_try
from blinkspan.presses.strays import stray_answers
from blinkspan.presses.verdicts import Circumstances, verdict_of
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Budget, Measured, Term
from blinkspan.traces.lamp import LampTrace, lamp_trace
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Regions
from blinkspan.traces.trace import Samples, Trace

_CLOCK_DOUBT = 1e-4  # of any interval: a camera's rate is good to about 100 ppm
_SHORTEST_HOLD_S = 1 / 120  # the shortest game frame in use, where the game's rate is unknown


@dataclass(frozen=True, slots=True)
class TakePresses:
    """What the series of one take hold."""

    camera: CameraFindings
    presses: tuple[Press, ...]
    unpaired_responses: tuple[Measured, ...]
    lamp_trace: Trace
    response_trace: Trace
    notes: tuple[str, ...]


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
    lamp = lamp_trace(series, row_s=0.0)
    spells = [s for s in lit_spells(lamp.trace) if s.first > 0]
    if not spells:
        raise NothingToMeasure(
            "no presses: the lamp is lit when the take begins and is not pressed again; "
            "start filming before the first press"
        )
    exposure = _exposure(lamp, spells, series, camera)
    todo = searches(series.clock.start_s, [s.first for s in spells], series.clock.period_s)
    found = find_answers(series, todo)
    step = _step(series, regions, found, exposure, camera, display)
    if step is not None:
        found = find_again(series, todo, found, _whole_looks(found, step, _hold_s(display)))
        step = _step(series, regions, found, exposure, camera, display)
    if step is not None and camera.exposure_s is None:
        exposure = step.exposure_s
    readout = readout_from_slant(series, regions, camera, display, step)
    context = _Context(series, regions, lamp, exposure, readout, display, found, step)
    presses = tuple(_press(context, k, spell) for k, spell in enumerate(spells))
    row = regions.watch.middle_row_px * readout.row_s
    strays = tuple(
        Measured(t + row, series.clock.period_s) for t in stray_answers(series, todo, found)
    )
    findings = CameraFindings(
        exposure,
        "given" if camera.exposure_s is not None else "from the take",
        Measured(
            readout.row_s * series.picture.height_px, readout.u_row_s * series.picture.height_px
        ),
        readout.source,
    )
    lamp_true = Trace(
        lamp.trace.values,
        lamp.trace.start_s + regions.lamp.middle_row_px * readout.row_s,
    )
    return TakePresses(
        findings, presses, strays, lamp_true, _response_trace(context), _notes(context, spells)
    )


@dataclass(frozen=True, slots=True)
class _Context:
    series: Series
    regions: Regions
    lamp: LampTrace
    exposure: Measured
    readout: Readout
    display: DisplayProfile
    found: Found
    step: Step | None

    @property
    def hold_s(self) -> float:
        return _hold_s(self.display)


def _hold_s(display: DisplayProfile) -> float:
    if display.game_rate_hz is not None:
        return 1 / display.game_rate_hz
    return _SHORTEST_HOLD_S


def _exposure(
    lamp: LampTrace, spells: list[LitSpell], series: Series, camera: CameraProfile
) -> Measured:
    if camera.exposure_s is not None:
        return camera.exposure_s
    period = series.clock.period_s
    guess = Measured(period / 2, period / 4)
    edges = [
        edge
        for spell in spells
        for edge in (_lit(lamp, spell, guess), _dark(lamp, spell, guess))
        if edge is not None
    ]
    return exposure_from_edges(
        sum(e.partial for e in edges), len(edges), period, blind_share(lamp.noise)
    )


def _lit(lamp: LampTrace, spell: LitSpell, exposure: Measured) -> Edge:
    levels = _between_plateaus(lamp.trace.values, spell.first, spell.stop - spell.first)
    return rising_edge(levels, lamp.trace.start_s, spell.first, exposure, lamp.noise)


def _dark(lamp: LampTrace, spell: LitSpell, exposure: Measured) -> Edge | None:
    if spell.stop >= lamp.trace.values.size:
        return None
    levels = _between_plateaus(lamp.trace.values, spell.stop, spell.stop - spell.first)
    # Fading to dark is a rise of darkness: the same fraction, the same arithmetic.
    return rising_edge(1.0 - levels, lamp.trace.start_s, spell.stop, exposure, lamp.noise)


def _between_plateaus(values: Samples, frame: int, lit_frames: int) -> Samples:
    """Scale to this press's own dark and lit level: lamps sag and rooms change over a take."""
    reach = max(3, min(30, lit_frames - 2))
    around = values[max(0, frame - 40) : frame + 40]
    dark = around[around < 0.5]
    lit = values[max(0, frame - reach) : frame + reach]
    lit = lit[lit > 0.5]
    low = float(np.median(dark)) if dark.size >= 5 else 0.0
    high = float(np.median(lit)) if lit.size >= 3 else 1.0
    return (values - low) / (high - low)


def _step(
    series: Series,
    regions: Regions,
    found: Found,
    exposure: Measured,
    camera: CameraProfile,
    display: DisplayProfile,
) -> Step | None:
    if found.learnt is None:
        return None
    chosen = [(c, a.fit) for c, a in zip(found.courses, found.answers, strict=True) if a]
    if not chosen:
        return None
    knowns = [
        Known(
            series.clock.period_s,
            exposure,
            slant,
            _hold_s(display),
            found.learnt.template.alike,
        )
        for slant in slants_to_try(series, regions, camera, display)
    ]
    rates = [display.refresh_hz] if display.refresh_hz is not None else list(KNOWN_RATES_HZ)
    return fit_step(
        [c for c, _ in chosen],
        [f for _, f in chosen],
        found.learnt.template,
        _bands(found.learnt),
        regions.watch.middle_row_px,
        knowns,
        rates,
    )


def _bands(learnt: Learnt) -> Bands:
    return Bands(learnt.pattern.row_px, learnt.pattern.row_spread_px)


def _whole_looks(found: Found, step: Step, hold_s: float) -> list[tuple[float, float] | None]:
    """Return, for each answer, from when to when all rows show its first look and no more."""
    assert found.learnt is not None  # there is no step without a pattern
    below = found.learnt.pattern.row_px[step.strength > 0] - step.row_px
    rows_s = step.slant_s_per_px.value * below
    begins = iter(step.begins)
    looks: list[tuple[float, float] | None] = []
    for answer in found.answers:
        if answer is None:
            looks.append(None)
            continue
        begin = next(begins).value
        until = begin + float(rows_s.min()) + hold_s - step.exposure_s.value
        looks.append((begin + float(rows_s.max()), until))
    return looks


def _press(context: _Context, k: int, spell: LitSpell) -> Press:
    series, readout = context.series, context.readout
    lit = _lit(context.lamp, spell, context.exposure)
    dark = _dark(context.lamp, spell, context.exposure)
    lamp_row, row = context.regions.lamp.middle_row_px, context.regions.watch.middle_row_px
    answer = context.found.answers[k]
    placed = _placed(context, k, answer)
    budget = _budget(context, lit, placed, abs(row - lamp_row) * readout.u_row_s)
    lamp_on = lit.at_s + lamp_row * readout.row_s
    response = None if placed is None else placed + row * readout.row_s
    span = None
    if response is not None:
        span = Measured(response.value - lamp_on.value, budget.u_s)
        response = Measured(response.value, float(np.hypot(response.u, _shared_u(context))))
    net = None if span is None or context.display.lag_s is None else span - context.display.lag_s
    verdict, reason = verdict_of(
        Circumstances(
            span_s=None if span is None else span.value,
            placed_u_s=None if placed is None else placed.u,
            strength=0.0 if answer is None else answer.fit.strength,
            rival=answer is not None and answer.rival_s is not None,
            bounced=spell.broken,
            clipped=context.lamp.clipped,
            overlapped=_overlapped(context, k, placed),
            near_gap=_near_gap(series, spell, placed),
            cut_off=answer is None and _ends_early(series, spell),
            hold_s=context.hold_s,
        )
    )
    return Press(
        number=k + 1,
        lamp_on=lamp_on,
        lamp_off=None if dark is None else dark.at_s + lamp_row * readout.row_s,
        response=response,
        response_row_px=None if response is None else row,
        span=span,
        net=net,
        budget=budget,
        verdict=verdict,
        reason=reason,
    )


def _placed(context: _Context, k: int, answer: Answer | None) -> Measured | None:
    if answer is None or context.step is None:
        return None
    before = sum(a is not None for a in context.found.answers[:k])
    return context.step.begins[before]


def _shared_u(context: _Context) -> float:
    return 0.0 if context.step is None else context.step.shared_u_s


def _budget(context: _Context, lit: Edge, placed: Measured | None, shutter_u_s: float) -> Budget:
    terms = [Term("lamp onset", lit.at_s.u)]
    if placed is not None:
        interval = placed.value - lit.at_s.value
        terms += [
            Term("response onset", placed.u),
            Term("panel step", _shared_u(context), shared=True),
            Term("rolling shutter", shutter_u_s, shared=True),
            Term("camera clock", _CLOCK_DOUBT * abs(interval), shared=True),
        ]
    return Budget(tuple(terms))


def _overlapped(context: _Context, k: int, placed: Measured | None) -> bool:
    """Tell whether another press lit the lamp before this one was answered."""
    presses = context.lamp.trace.start_s[[s.first for s in lit_spells(context.lamp.trace)]]
    mine = float(
        context.lamp.trace.start_s[
            [s for s in lit_spells(context.lamp.trace) if s.first > 0][k].first
        ]
    )
    end = mine + 0.25 if placed is None else placed.value
    return bool(((presses > mine + 1e-9) & (presses < end)).any())


def _near_gap(series: Series, spell: LitSpell, placed: Measured | None) -> bool:
    """Tell whether frames are missing where one of the two onsets was read."""
    gaps = series.clock.gaps()
    near = [spell.first]
    if placed is not None:
        near.append(int(np.searchsorted(series.clock.start_s, placed.value)))
    return any(bool(((gaps >= at - 2) & (gaps <= at + 1)).any()) for at in near)


def _ends_early(series: Series, spell: LitSpell) -> bool:
    left = series.clock.start_s[-1] - series.clock.start_s[spell.first]
    return bool(left < 0.5)


def _response_trace(context: _Context) -> Trace:
    start_s = context.series.clock.start_s
    values = np.zeros(start_s.size)
    row = context.regions.watch.middle_row_px * context.readout.row_s
    if context.step is not None:
        strength = context.step.strength
        weight = context.step.direction * (strength / float(strength @ strength + 1e-9))[:, None]
        for course in context.found.courses:
            first = int(np.searchsorted(start_s, course.start_s[0]))
            along = np.einsum("mbq,bq->m", course.values, weight)
            values[first : first + along.size] = along
    return Trace(values, start_s + row)


def _notes(context: _Context, spells: list[LitSpell]) -> tuple[str, ...]:
    notes = []
    if context.lamp.trace.values[0] > 0.5:
        notes.append("The lamp is lit when the take begins; that press is left out.")
    if context.lamp.clipped:
        notes.append("The lamp is clipped while lit; film it darker or let its glow be seen.")
    if context.readout.source == "assumed":
        notes.append(
            "The camera's readout time is unknown: anything from none to a whole frame is "
            "budgeted. Give --readout, or --panel and --refresh to read it from the take."
        )
    lit_s = [(s.stop - s.first) * context.series.clock.period_s for s in spells]
    if float(np.median(lit_s)) > 2.0:
        notes.append(
            f"The lamp stays lit for {float(np.median(lit_s)):.1f} s a press: if this is slow "
            "motion stamped for playback, give --capture-rate."
        )
    return tuple(notes)
