"""Which of the blinking spots is the lamp."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.ndimage import uniform_filter1d

from blinkspan.traces.lamp_pulses import Pulse, rest_frames, spot_level
from blinkspan.traces.regions import Quadrilateral
from blinkspan.traces.survey import Survey
from blinkspan.traces.trace import Samples

_FEWEST_PULSES = 2
_MOST_PULSES = 1000  # the steadiest; more only where the whole picture boils
_REACH_CELLS = 2.5  # how far apart a lamp at rest may be seen
_SPEED_CELLS = 16.0  # a second: a fifth of the picture's width, as hands move between presses
_FARTHEST_CELLS = 16.0
_ALIKE = 1.7  # ratio of steps of one lamp's pulses
_STEADY = 0.25  # scatter in steps at which a pulse counts for half
_LEAST_REST = 0.8  # share of the take that a lamp spends near one of its two levels
_ON_SCREEN = 0.3  # what a spot inside the panel counts against one outside
_WORTH = 0.4  # of the best spot's score: below this a spot is no rival
_ANSWER_S = 0.5  # a light on the screen that answers the lamp does so within this
_IRREGULAR = 0.12  # of that: a press waits at most two of the slowest game frames more or less


@dataclass(frozen=True, slots=True)
class Spot:
    """A spot that blinks.

    Attributes
    ----------
    pulses : tuple of Pulse
        In order of time, none overlapping; at least two.
    score : float
        The number of pulses, less for unsteady levels and a place on the screen.
    """

    pulses: tuple[Pulse, ...]
    score: float

    @property
    def onsets(self) -> list[int]:
        """The frames in which it lights up."""
        return [pulse.on for pulse in self.pulses]


def likely_lamps(survey: Survey, pulses: list[Pulse], panel: Quadrilateral | None) -> list[Spot]:
    """Return the spots that may be the lamp, the likeliest first; empty where none blinks.

    A light on the screen that answers another spot is left out, even where it
    is the stronger one: the lamp comes first.
    """
    spots: list[Spot] = []
    best = 0.0
    for chain in sorted(_chains(survey, pulses), key=_steadiness, reverse=True):
        if _steadiness(chain) < _WORTH * best:
            break  # no spot scores more than this, so none is left that could be a rival
        spot = _spot(survey, chain, panel)
        if spot is not None:
            spots.append(spot)
            best = max(best, spot.score)
    rivals = [s for s in sorted(spots, key=lambda s: -s.score) if s.score >= _WORTH * best]
    soon = survey.frames_in(_ANSWER_S)
    return [
        spot
        for spot in rivals
        if not any(_answers(spot, other, soon) for other in rivals if other is not spot)
    ]


def _chains(survey: Survey, pulses: list[Pulse]) -> list[list[Pulse]]:
    """Return pulses gathered by strength and place, as far as a hand may have moved since."""
    steadiest = sorted(pulses, key=lambda pulse: pulse.scatter)[:_MOST_PULSES]
    chains: list[list[Pulse]] = []
    for pulse in sorted(steadiest, key=lambda pulse: pulse.on):
        twin = next((chain for chain in chains if _same(pulse, chain[-1])), None)
        if twin is not None:
            twin[-1] = min(pulse, twin[-1], key=lambda each: each.scatter)
            continue
        near = [
            (_distance(pulse, chain[-1]), chain)
            for chain in chains
            if _may_follow(survey, pulse, chain[-1])
        ]
        if near:
            min(near, key=lambda pair: pair[0])[1].append(pulse)
        else:
            chains.append([pulse])
    return [_steady_part(chain) for chain in chains]


def _may_follow(survey: Survey, pulse: Pulse, last: Pulse) -> bool:
    gap_s = (pulse.on - last.off) * survey.clock.period_s
    reach = min(_FARTHEST_CELLS, _REACH_CELLS + _SPEED_CELLS * gap_s)
    alike = 1 / _ALIKE < pulse.step / last.step < _ALIKE
    return gap_s > 0 and alike and _distance(pulse, last) <= reach


def _same(pulse: Pulse, last: Pulse) -> bool:
    """Whether two pulses are one, seen in neighbouring cells or from neighbouring frames."""
    return pulse.on <= last.off and _distance(pulse, last) <= _REACH_CELLS


def _distance(one: Pulse, other: Pulse) -> float:
    return math.hypot(one.row - other.row, one.column - other.column)


def _steady_part(chain: list[Pulse]) -> list[Pulse]:
    """Return the pulses about as steady as most: what strayed into the chain is not."""
    usual = float(np.median([pulse.scatter for pulse in chain]))
    return [pulse for pulse in chain if pulse.scatter <= max(0.1, 3 * usual)]


def _spot(survey: Survey, pulses: list[Pulse], panel: Quadrilateral | None) -> Spot | None:
    if len(pulses) < _FEWEST_PULSES:
        return None
    rest = _share_at_rest(survey, pulses)
    if rest < _LEAST_REST:
        return None
    score = rest * _steadiness(pulses)
    row = (np.median([pulse.row for pulse in pulses]) + 0.5) * survey.factor
    column = (np.median([pulse.column for pulse in pulses]) + 0.5) * survey.factor
    if panel is not None and panel.holds(float(column), float(row)):
        score *= _ON_SCREEN
    return Spot(tuple(pulses), score)


def _steadiness(pulses: list[Pulse]) -> float:
    """Return the number of pulses, each counting for less the unsteadier its levels are."""
    return sum(1 / (1 + (pulse.scatter / _STEADY) ** 2) for pulse in pulses)


def _share_at_rest(survey: Survey, pulses: list[Pulse]) -> float:
    """Return the share of the take in which the spot is near its dark or its lit level as due."""
    n = survey.film.shape[0]
    rest = rest_frames(survey)
    due, level = np.zeros(n, bool), np.zeros(n)
    # Each pulse speaks for its part of the take, from half way to the pulse before it.
    between = [(a.off + b.on) // 2 for a, b in pairwise(pulses)]
    for pulse, first, stop in zip(pulses, [0, *between], [*between, n], strict=True):
        due[pulse.on : pulse.off] = True
        part = spot_level(survey.film, pulse.row, pulse.column, first, stop)
        dark = float(np.median(part[: max(1, pulse.on - first)][-4 * rest :]))
        level[first:stop] = (part - dark) / pulse.step
    smooth: Samples = uniform_filter1d(level, 3)
    return float(np.mean(np.where(due, smooth > 0.5, np.abs(smooth) < 0.5)))


def _answers(spot: Spot, other: Spot, soon: int) -> bool:
    """Whether a spot's pulses follow the other's, soon and always about as late."""
    lag, lead = _lags(other.onsets, spot.onsets), _lags(spot.onsets, other.onsets)
    if lag.size < _FEWEST_PULSES or (lead.size and np.median(lead) <= np.median(lag)):
        return False
    regular = np.abs(lag - np.median(lag)) <= _IRREGULAR * soon
    return bool(np.mean((lag > 0) & (lag <= soon) & regular) >= 0.8)


def _lags(leaders: list[int], followers: list[int]) -> Samples:
    """Return for each follower the frames since the latest leader, those before any left out."""
    index = np.searchsorted(leaders, followers) - 1
    return np.asarray([f - leaders[i] for f, i in zip(followers, index, strict=True) if i >= 0])
