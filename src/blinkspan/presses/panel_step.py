"""The step of the panel for a whole take: from the answers found to instants and their doubt."""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.alignment import mean_course, still_rising
from blinkspan.onsets.grid import KNOWN_RATES_HZ, come_at_every_refresh
from blinkspan.onsets.growth import Growth
from blinkspan.onsets.joint import Known
from blinkspan.onsets.moving import slid_cells
from blinkspan.onsets.own_look import had_begun
from blinkspan.onsets.softened import Bands
from blinkspan.onsets.step import SPREADS, Step, fit_step
from blinkspan.onsets.ticks import Ticks, begin_elsewhere, concentration
from blinkspan.presses.begun_before import begun_before
from blinkspan.presses.late import without_late_answers
from blinkspan.presses.own_rows import fit_by_own_rows, rows_away_px
from blinkspan.presses.searching import Found, Learnt, Search, find_again, settled
from blinkspan.presses.shutter import slant_at_once, slants_to_try
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured, rectangular
from blinkspan.traces.light import light_of_codes
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Regions
from blinkspan.traces.trace import Samples

_SHORTEST_HOLD_S = 1 / 120  # the shortest game frame in use, where no rate is known
_SLOWEST_GAME_HZ = 30.0  # games at fewer frames a second are rare (common practice)
_FAR_S = 0.020  # from an answer's place to its begin: more, and it was placed by something else
# How far from the place most answers have beside the shared jump, in game frames, one is away for
# sure, and how near it is to be no other frame's; answers that tell that place.
_AWAY, BESIDE, FEWEST_JUMPS = 0.6, 0.4, 5
CONFLICT = 2.5  # standard deviations between two estimates before they are held to differ
_SURE_OF_TICK_S = 0.001  # where it is not sure, a whole tick is in doubt
_FAINT_SLIDE_PX = 0.4  # a slide of fewer pixels an encoder may not show at all (films of our own)
# What moves an encoder draws as moved or as not, seldom as half way, as a slow panel shows it:
# the panel then looks faster than it is, and to begin as much later (films of a third renderer).
_MOVES_U_S = 0.0005
_IN_STEP = 0.9  # of all begins at one place between two frames
_FAINT_CODES = 3.0  # a change of fewer code values an encoder may show late (staged takes)


@dataclass(frozen=True, slots=True)
class PanelStep:
    """The fitted step and what it means for the instants read from it.

    Attributes
    ----------
    step : Step
    exposure_s : Measured
        The camera's exposure, as lamp and panel together tell it.
    moved_s : Measured
        To be added to every begin: where the panel's light comes in pulses, only
        part of an exposure sees it, and which part is not known.
    faint_u_s : float
        Standard uncertainty for a change near the encoder's steps.
    hold_s : float
        How long a game frame stays at least.
    display : DisplayProfile
        What was known of the display, its refresh and the game's rate learnt where the answers
        tell what was not given.
    lost : bool
        Whether the answers grow out of what the scene does by itself, or of what a coarse
        encoder does not show, so that nothing tells how many game frames were lost in it.
    moves : bool
        Whether the answers go on the way of their first look in the next game frame.
    """

    step: Step
    exposure_s: Measured
    moved_s: Measured
    faint_u_s: float
    hold_s: float
    display: DisplayProfile
    lost: bool = False
    moves: bool = False

    @property
    def pulsed(self) -> bool:
        """Whether the panel's light seems to come in pulses."""
        return self.moved_s.value > 0

    @property
    def shared_u_s(self) -> float:
        """The standard uncertainty that all begins of the take share."""
        return math.hypot(self.step.shared_u_s, self.moved_s.u, self.faint_u_s)


# The answers, the step they share, and answers too late for any press, in the clock of frames.
Stepped = tuple[Found, PanelStep | None, list[float]]


def panel_step(
    series: Series,
    regions: Regions,
    todo: list[Search],
    found: Found,
    exposure: Measured,
    camera: CameraProfile,
    display: DisplayProfile,
    ticks: Ticks | None = None,
) -> Stepped:
    """Return the answers, found anew with a cleaner pattern, and the step they share.

    ``exposure`` is what the lamp alone tells, or what was given; ``ticks`` are the panel's,
    where all that moves in the take shows them.
    """
    start_s = series.clock.start_s
    found, late = without_late_answers(found, todo, start_s)
    if found.learnt is None or not any(found.answers):
        return found, None, late
    found = settled(series, todo, found, shown_for_s(display, series.clock.period_s))
    assert found.learnt is not None  # settling keeps what was learnt
    step = _fit(series, regions, found, exposure, camera, display, ticks)
    if step is None:
        return _unanswered(found), None, late
    if display.refresh_hz is None and step.grid is not None:
        display = replace(display, refresh_hz=step.grid.nominal_hz)
    hold = shown_for_s(display, series.clock.period_s)
    found = find_again(series, todo, found, _whole_looks(found, step, hold), _early_s(found, step))
    found, late = without_late_answers(found, todo, start_s)
    if found.learnt is None or not any(found.answers):
        return found, None, late
    found = settled(series, todo, found, shown_for_s(display, series.clock.period_s))
    assert found.learnt is not None  # settling keeps what was learnt
    step = _fit(series, regions, found, exposure, camera, display, ticks)
    if step is None:
        return _unanswered(found), None, late
    learnt = found.learnt
    if learnt.jumps_s is not None:
        found = _settled_by_jumps(found, step, learnt.jumps_s, hold)
    elif learnt.own is not None and learnt.moving is None:
        found = _contested_by_own_places(series, found, step, hold)
    elif step.on_ticks and learnt.moving is not None:
        found = _settled_by_ticks(found, step)
    elif not learnt.template.alike and step.grid is not None:
        found = _contested_by_frames(found, step, hold)
    found = contested_where(found, begun_before(series, todo, found, step, hold))
    seen, moved = _exposure_and_move(
        exposure, step.exposure_s, spread=series.picture.coarseness > SPREADS
    )
    if step.grid is None and moved.value == 0:
        # Begins that lie on no grid give way to any exposure: only the lamp then tells it.
        seen = exposure
    # The panel's ticks are known, however faint an answer is.
    faint = 0.0 if step.on_ticks else _faint_u_s(series, learnt)
    if step.grid is not None and not _in_step(step, series.clock.period_s):
        faint /= 2  # answers at all places between two frames are late by less than one may be
    if display.game_rate_hz is None and step.grid and come_at_every_refresh(step.grid.ticks):
        display = replace(display, game_rate_hz=display.refresh_hz)
    growth = _growth(series, found, step)
    # How far a slide is read ends rising where too little is left of the look before.
    grows = learnt.moving is not None or still_rising(learnt.template)
    rate_known = display.game_rate_hz is not None
    moves = growth.goes_on(hold, game_rate_known=rate_known)
    if (moves or grows) and not step.on_ticks:
        moved = Measured(moved.value, math.hypot(moved.u, _MOVES_U_S * series.picture.coarseness))
    lost = False
    if grows and growth.may_begin_unseen(hold, game_rate_known=rate_known):
        # Not known, a game frame may be one of the slowest in use.
        faint = max(faint, 1 / (display.game_rate_hz or _SLOWEST_GAME_HZ) / 2)
        lost = step.grid is None and growth.lost_in_rest(hold)
    lost = lost or (step.grid is None and _held_back(series, learnt))
    return found, PanelStep(step, seen, moved, faint, hold, display, lost, moves), late


def _unanswered(found: Found) -> Found:
    """Return the presses without answers: what was found is no step of a panel."""
    return replace(found, answers=[None] * len(found.answers))


def _settled_by_ticks(found: Found, step: Step) -> Found:
    """Return the answers uncontested where it is sure on which tick they begin.

    Courses laid over each other tell slides a game frame apart less well: each is read by its
    own measure.
    """
    begins = iter(step.begins)
    answers = [
        answer
        if answer is None or next(begins).u > _SURE_OF_TICK_S
        else replace(answer, contested=False)
        for answer in found.answers
    ]
    return replace(found, answers=answers)


def _settled_by_jumps(
    found: Found, step: Step, jumps_s: list[float | None], frame_s: float
) -> Found:
    """Return the answers contested where they begin away from the jump that all presses share.

    Others fit somewhat elsewhere by what the scene does by itself, but jump there only once.
    """
    after_s = begun_after(found, step, jumps_s)
    if np.isfinite(after_s).sum() < FEWEST_JUMPS:
        return found
    away = np.abs(after_s - np.nanmedian(after_s)) / frame_s
    answers = [
        answer
        if answer is None or not math.isfinite(far)
        else replace(answer, contested=far > _AWAY or (answer.contested and far > BESIDE))
        for answer, far in zip(found.answers, away.tolist(), strict=True)
    ]
    return replace(found, answers=answers)


def begun_after(found: Found, step: Step, jumps_s: list[float | None]) -> Samples:
    """Return how long after its jump each press's answer begins, not a number where it has none."""
    after_s = np.full(len(jumps_s), np.nan)
    answered = [k for k, answer in enumerate(found.answers) if answer is not None]
    for k, begin in zip(answered, step.begins, strict=True):
        jump_s = jumps_s[k]
        if jump_s is not None:
            after_s[k] = begin.value - jump_s
    return after_s


def _contested_by_own_places(series: Series, found: Found, step: Step, frame_s: float) -> Found:
    """Return answers in places of their own contested where those changed a game frame before.

    What moves is found by its own look however late it is looked for.
    """
    learnt = found.learnt
    assert learnt is not None  # asked for answers by own looks only
    assert learnt.own is not None
    own, slant = learnt.own, step.slant_s_per_px.value
    begins_s = np.array([begin.value for begin in step.begins]) + slant * _away_px(
        found, step.row_px
    )
    each = iter(begins_s.tolist())
    answers = list(found.answers)
    for k, answer in enumerate(answers):
        if answer is None:
            continue
        clear_s = step.exposure_s.value + 2 * abs(slant) * float(own.row_spread_px[k])
        last_s = next(each) - clear_s + frame_s * np.arange(-1, 2)
        look = own.looks[k]
        if look is not None and had_begun(
            series.watch, series.clock.start_s, learnt.looks[k], learnt.idle, look, last_s
        ):
            answers[k] = replace(answer, contested=True)
    return replace(found, answers=answers)


def _contested_by_frames(found: Found, step: Step, frame_s: float) -> Found:
    """Return answers that look unlike contested where they are like most in another game frame.

    Each of them begins with its first change, which over a lively scene may be the scene's.
    """
    assert found.learnt is not None  # there is no step without a pattern
    pattern, slant = found.learnt.pattern, step.slant_s_per_px.value
    below = Bands(pattern.row_px, pattern.row_spread_px).below(step.row_px)
    elsewhere = begin_elsewhere(
        [course for course, answer in zip(found.courses, found.answers, strict=True) if answer],
        np.array([begin.value for begin in step.begins]),
        frame_s,
        slant * below.row_px,
        step.exposure_s.value + slant * float(below.spread_px.max()) + step.shared_u_s,
    )
    return contested_where(found, elsewhere)


def contested_where(found: Found, which: npt.NDArray[np.bool_]) -> Found:
    """Return the answers contested, those told, in order; others as they are."""
    each = iter(which.tolist())
    answers = [
        replace(answer, contested=next(each) or answer.contested) if answer else None
        for answer in found.answers
    ]
    return replace(found, answers=answers)


def shown_for_s(display: DisplayProfile, period_s: float) -> float:
    """Return how long a picture stays: a game frame, else a refresh, else the shortest in use.

    A camera too slow to show one alone sees a step of two of its own frames at least.
    """
    rate_hz = display.game_rate_hz or display.refresh_hz
    hold_s = _SHORTEST_HOLD_S if rate_hz is None else 1 / rate_hz
    return max(hold_s, 2 * period_s)


def _fit(
    series: Series,
    regions: Regions,
    found: Found,
    exposure: Measured,
    camera: CameraProfile,
    display: DisplayProfile,
    ticks: Ticks | None,
) -> Step | None:
    assert found.learnt is not None  # there is an answer, so there is a pattern
    chosen = [(c, a.fit) for c, a in zip(found.courses, found.answers, strict=True) if a]
    bands = Bands(found.learnt.pattern.row_px, found.learnt.pattern.row_spread_px)
    rates = [display.refresh_hz] if display.refresh_hz is not None else list(KNOWN_RATES_HZ)
    slants = slants_to_try(series, regions, camera, display, ticks)
    known = [
        Known(
            series.clock.period_s,
            exposure,
            slant,
            shown_for_s(display, series.clock.period_s),
            found.learnt.template.alike,
            series.picture.coarseness,
        )
        for slant in slants
    ]
    row_px = regions.watch.middle_row_px
    courses, fits = [c for c, _ in chosen], [f for _, f in chosen]
    if found.learnt.own is None:
        at_once = replace(known[0], slant_s_per_px=slant_at_once(series, regions, camera))
        return fit_step(
            courses,
            fits,
            found.learnt.template,
            bands,
            row_px,
            known,
            rates,
            at_once,
            ticks,
            sliding=found.learnt.moving is not None,
        )
    answered = [answer is not None for answer in found.answers]
    template = found.learnt.template
    return fit_by_own_rows(
        found.learnt.own, answered, courses, fits, template, row_px, known, rates, ticks
    )


def _away_px(found: Found, row_px: float) -> Samples:
    """Return how far below a row each answer shows, beyond where the pattern has it."""
    answered = [answer is not None for answer in found.answers]
    if found.learnt is None or found.learnt.own is None:
        return np.zeros(sum(answered))
    return rows_away_px(found.learnt.own, answered, row_px)


def _whole_looks(found: Found, step: Step, hold_s: float) -> list[tuple[float, float] | None]:
    """Return, for each answer, from when to when all rows show its first look and no more."""
    assert found.learnt is not None  # there is no step without a pattern
    below = found.learnt.pattern.row_px[step.strength > 0] - step.row_px
    if found.learnt.own is not None:
        below = np.zeros(1)  # counted from each press's own row
    rows_s = step.slant_s_per_px.value * below
    late = step.slant_s_per_px.value * _away_px(found, step.row_px)
    begins = iter(np.array([begin.value for begin in step.begins]) + late)
    looks: list[tuple[float, float] | None] = []
    for answer in found.answers:
        if answer is None:
            looks.append(None)
            continue
        begin = float(next(begins))
        until = begin + float(rows_s.min()) + hold_s - step.exposure_s.value
        looks.append((begin + float(rows_s.max()), until))
    return looks


def _early_s(found: Found, step: Step) -> float:
    """Return by how much all answers were placed too early, where that is by far.

    A scene that creeps is soon unlike its look before; the pattern then ends before the
    answer has shown itself, and a pose would pass for a fade. Less than zero where they were
    placed too late by as much: what gathers speed would then begin before the pattern does.
    """
    assert found.learnt is not None  # there is no step without a pattern
    below = found.learnt.pattern.row_px[step.strength > 0] - step.row_px
    first_row_s = float((step.slant_s_per_px.value * below).min())
    placed = [answer.fit.at_s for answer in found.answers if answer is not None]
    early = [begin.value + first_row_s - at for begin, at in zip(step.begins, placed, strict=True)]
    # As begins found so may be a game frame late, no more than that is made good.
    usual_s = float(np.median(early))
    return math.copysign(max(0.0, abs(usual_s) - _FAR_S), usual_s)


def _exposure_and_move(
    lamp: Measured, panel: Measured, *, spread: bool
) -> tuple[Measured, Measured]:
    """Return the exposure that lamp and panel agree on, or what their conflict means.

    The panel's is fitted with the lamp's held beforehand: where they agree it is
    what both say, and to weigh the lamp's once more would count it twice.

    A backlight that pulses at the camera's own pace shows the panel to a part of
    each exposure only; its answer then reads shorter than the lamp's. A coarse encoder that
    has ``spread`` the answer over its neighbours makes it read longer, and begin anywhere in
    what is too much.
    """
    unseen = lamp.value - panel.value
    if abs(unseen) < CONFLICT * np.hypot(lamp.u, panel.u) or (unseen < 0 and not spread):
        return panel, Measured(0.0, 0.0)
    if unseen < 0:
        return lamp, Measured(0.0, rectangular(-unseen))
    return lamp, Measured(unseen / 2, rectangular(unseen / 2))


def _growth(series: Series, found: Found, step: Step) -> Growth:
    """Return how the answers grow."""
    assert found.learnt is not None  # there is no step without a pattern
    moving = found.learnt.moving
    begins = np.array([begin.value for begin in step.begins])
    begins = begins + step.slant_s_per_px.value * _away_px(found, step.row_px)
    answered = [c for c, a in zip(found.courses, found.answers, strict=True) if a]
    template = mean_course(answered, begins, series.clock.period_s)
    below = found.learnt.pattern.row_px[step.strength > 0] - step.row_px
    # Put on ticks, answers say nothing of the panel's own time.
    settles_s = step.exposure_s.value if step.on_ticks else 2 * step.response_s
    whole_s = float((step.slant_s_per_px.value * below).max()) + settles_s
    if moving is None:
        of_visible = _first_codes(series, found.learnt) / _FAINT_CODES
    else:
        cell_px = series.watch_factor
        of_visible = slid_cells(template, moving, whole_s) * cell_px / _FAINT_SLIDE_PX
    return Growth(template, whole_s, of_visible)


def _faint_u_s(series: Series, learnt: Learnt) -> float:
    """Return the doubt of a change so small that an encoder may show it two frames late."""
    least = _FAINT_CODES * series.picture.coarseness
    codes = max(_first_codes(series, learnt), least)
    return rectangular(series.clock.period_s) * least / codes


def _held_back(series: Series, learnt: Learnt) -> bool:
    """Tell whether an encoder may show so small a change only once it has grown."""
    coarseness = series.picture.coarseness
    return coarseness > SPREADS and _first_codes(series, learnt) < _FAINT_CODES * coarseness


def _in_step(step: Step, period_s: float) -> bool:
    """Tell whether the panel keeps step with the camera: what happens to one answer does to all."""
    begins_s = np.array([begin.value for begin in step.begins])
    return concentration(begins_s, period_s) > _IN_STEP


def _first_codes(series: Series, learnt: Learnt) -> float:
    """Return how many code values of the film the first look is from the one before."""
    table = light_of_codes(series.picture).astype(float) / 65535
    look = float(np.median(learnt.looks[0].light))
    code = min(max(int(np.searchsorted(table, look)), 1), table.size - 1)
    step = float(table[code] - table[code - 1]) * 2.0 ** (series.picture.bit_depth - 8)
    return learnt.pattern.first_light / max(step, 1e-6)
