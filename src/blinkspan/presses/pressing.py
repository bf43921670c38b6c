"""Put one press together: its onsets, its budget and its verdict."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.edge import LitSpell
from blinkspan.presses.lamp_edges import LampRise, dark_edge, is_unsteady, lit_edge
from blinkspan.presses.lone import FEWEST_WITNESSES, stands_out
from blinkspan.presses.panel_step import PanelStep
from blinkspan.presses.press import Press
from blinkspan.presses.searching import Found, Search
from blinkspan.presses.shutter import Readout
from blinkspan.presses.verdicts import FLOOR_S, Circumstances, verdict_of
from blinkspan.profiles import DisplayProfile
from blinkspan.quantities import Budget, Measured, Term
from blinkspan.traces.lamp import LampTrace
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Regions

_CLOCK_DOUBT = 1e-4  # of any interval: a camera's rate is good to about 100 ppm
_LEAST_LIKE = 0.6  # of the usual strength, where answers are alike
# Where they are not, of the weaker quarter's: answers over films reach 2, those of which a
# watched part shows some only (a menu cut through) have nothing in common but what comes later.
_AS_STRONG = 3.0
# Game frames between an answer and the usual one that no queue explains (common practice).
_FAR_FRAMES, _FEWEST_WAITS = 3.0, 5
# And those that presses at any moment of a game frame explain; from so many beyond on, it is
# not a late game frame that is to blame.
_FAR_FRAMES_OF_OWN, _OFTEN_FAR = 1.25, 2
_SEARCHED_S = 0.5  # a take that ends sooner after the lamp cannot show that nothing answered


@dataclass(frozen=True)
class Context:
    """All that the presses of one take share; what is worked out of it is worked out once."""

    series: Series
    regions: Regions
    lamp: LampTrace
    spells: list[LitSpell]
    rise: LampRise
    exposure: Measured
    readout: Readout
    display: DisplayProfile
    todo: list[Search]
    found: Found
    panel: PanelStep | None

    @cached_property
    def begins(self) -> list[Measured | None]:
        """When the panel began to answer, in the clock of frames; ``u`` is each one's own."""
        if self.panel is None:
            return [None] * len(self.found.answers)
        steps, moved_s = iter(self.panel.step.begins), self.panel.moved_s.value
        return [None if each is None else next(steps) + moved_s for each in self.found.answers]

    @cached_property
    def waits_s(self) -> list[float | None]:
        """About how long each press waited for its answer."""
        start_s = self.series.clock.start_s
        return [
            None if begin is None else begin.value - float(start_s[spell.first])
            for begin, spell in zip(self.begins, self.spells, strict=True)
        ]

    @cached_property
    def usual_wait_s(self) -> float | None:
        """The median of the waits, where there are enough."""
        known = [wait for wait in self.waits_s if wait is not None]
        return None if len(known) < _FEWEST_WAITS else float(np.median(known))

    @cached_property
    def as_strong(self) -> bool:
        """Whether the answers are about as strong as each other, or share a jump instead."""
        learnt = self.found.learnt
        if learnt is not None and learnt.jumps_s is not None:
            return True
        return as_strong([answer.fit.gain for answer in self.found.answers if answer is not None])

    @cached_property
    def gaps(self) -> npt.NDArray[np.intp]:
        """After which frames others are missing."""
        return self.series.clock.gaps()


def as_strong(gains: list[float]) -> bool:
    """Tell whether answers that look unlike are about as strong as each other.

    Examples
    --------
    Views that turn, and a menu of which only a part is watched:

    >>> as_strong([1.19, 1.05, 0.93, 1.08, 1.13, 0.83, 0.94])
    True
    >>> as_strong([8.7, 5.2, 14.4, 6.1, 0.9, 1.0, 1.0, 17.5])
    False
    """
    low, high = np.quantile(gains, [0.25, 0.75])
    return bool(high <= _AS_STRONG * low)


def press_of(context: Context, k: int) -> Press:
    """Return press ``k``, counted from 0."""
    spell, readout = context.spells[k], context.readout
    lit = lit_edge(context.lamp, spell, context.exposure, context.rise)
    dark = dark_edge(context.lamp, spell, context.exposure)
    regions = context.regions
    begin = context.begins[k]
    budget = _budget(context, lit, begin)
    lamp_on = lit + readout.until(regions.lamp)
    response = span = net = None
    if begin is not None and context.panel is not None:
        u = float(np.hypot(begin.u, context.panel.shared_u_s))
        response = Measured(begin.value, u) + readout.until(regions.watch)
        # Both rows lag by the same readout: only the rows between count, as the budget has it.
        span = Measured(response.value - lamp_on.value, budget.u_s)
        net = None if context.display.lag_s is None else span - context.display.lag_s
    answer = context.found.answers[k]
    verdict, reason = verdict_of(
        Circumstances(
            span_s=None if span is None else span.value,
            placed_u_s=None if begin is None else begin.u,
            strength=0.0 if answer is None else answer.fit.strength,
            confirmed=_confirmed(context, k),
            rival=answer is not None and (answer.rival_s is not None or answer.contested),
            bounced=not context.rise.once[k],
            clipped=context.lamp.clipped,
            unsteady=is_unsteady(context.lamp, spell) or context.lamp.faint,
            overlapped=_overlapped(context, k, begin),
            near_gap=_near_gap(context, spell, begin),
            cut_off=begin is None and _ends_early(context, spell),
            hold_s=0.0 if context.panel is None else context.panel.hold_s,
        )
    )
    return Press(
        number=k + 1,
        lamp_on=lamp_on,
        lamp_off=None if dark is None else dark.at_s + readout.until(regions.lamp),
        response=response,
        response_row_px=None if response is None else regions.watch.middle_row_px,
        span=span,
        net=net,
        budget=budget,
        verdict=verdict,
        reason=reason,
    )


def _confirmed(context: Context, k: int) -> bool:
    """Tell whether the other presses bear an answer out."""
    answer, learnt, panel = context.found.answers[k], context.found.learnt, context.panel
    if answer is None or learnt is None or panel is None:
        return True
    if len(panel.step.begins) < FEWEST_WITNESSES:
        begin = context.begins[k]
        return begin is not None and stands_out(
            context.series, context.todo[k], context.found, k, begin.value, panel.hold_s
        )
    if learnt.template.alike and not _LEAST_LIKE <= answer.fit.gain <= 1 / _LEAST_LIKE:
        return False
    if panel.lost or (
        not learnt.template.alike and (panel.step.grid is None or not context.as_strong)
    ):
        return False
    mine, usual = context.waits_s[k], context.usual_wait_s
    if mine is None or usual is None:
        return True
    if usual < FLOOR_S:  # what mostly comes before its press is no answer to it
        return False
    if learnt.own is None or not panel.moves:
        return abs(mine - usual) <= _FAR_FRAMES * panel.hold_s
    # Each by its own look, what moves may be found some game frames after it began to; where
    # it often is, it may be in any press.
    near_s = _FAR_FRAMES_OF_OWN * panel.hold_s
    far = [wait is not None and abs(wait - usual) > near_s for wait in context.waits_s]
    return not far[k] and far.count(True) < _OFTEN_FAR


def _budget(context: Context, lit: Measured, begin: Measured | None) -> Budget:
    terms = [Term("lamp onset", lit.u)]
    if begin is not None and context.panel is not None:
        panel, regions = context.panel, context.regions
        rolling_u_s = context.readout.doubt_between(regions.lamp, regions.watch)
        terms += [
            Term("response onset", begin.u),
            Term("panel step", float(np.hypot(panel.step.shared_u_s, panel.moved_s.u)), True),
            Term("faint change", panel.faint_u_s, True),
            Term("rolling shutter", rolling_u_s, True),
            Term("camera clock", _CLOCK_DOUBT * abs(begin.value - lit.value), True),
        ]
    return Budget(tuple(terms))


def _overlapped(context: Context, k: int, begin: Measured | None) -> bool:
    """Tell whether another press lit the lamp before this one was answered."""
    if k + 1 == len(context.spells):
        return False
    start_s = context.series.clock.start_s
    following = float(start_s[context.spells[k + 1].first])
    usual = float(start_s[context.spells[k].first]) + 0.2
    return following < (usual if begin is None else begin.value)


def _near_gap(context: Context, spell: LitSpell, begin: Measured | None) -> bool:
    """Tell whether frames are missing where one of the two onsets was read."""
    gaps, start_s = context.gaps, context.series.clock.start_s
    near = [spell.first]
    if begin is not None:
        near.append(int(np.searchsorted(start_s, begin.value)))
    return any(bool(((gaps >= at - 2) & (gaps <= at + 1)).any()) for at in near)


def _ends_early(context: Context, spell: LitSpell) -> bool:
    start_s = context.series.clock.start_s
    return bool(start_s[-1] - start_s[spell.first] < _SEARCHED_S)
