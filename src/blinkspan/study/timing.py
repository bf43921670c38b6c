"""When to press: at random against the game's frames, or the median is biased.

A press waits for the next frame. Presses at random wait half a frame on average;
presses in step with the frames all wait alike, anything from nothing to a whole
frame, and more of them only make the wrong number look sure. A steady beat can
stand in step by accident, so the metronome here moves every beat by a random part
of whole frames: the phase of each press is then uniform and knows nothing of the
others.

References
----------
K. V. Mardia and P. E. Jupp, "Directional Statistics" (2000), 6.3.1: the Rayleigh test
of uniform phases, and the series for its p value.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadSetting
from blinkspan.study.phrases import counted
from blinkspan.study.smoothing import Numbers, checked

_LONGEST_FRAME_S = 1.0 / 30.0  # games and panels of 30, 60 and 120 Hz fit whole into it
_TOLD_P = 0.01
_FEWEST_PRESSES = 6

ADVICE = (
    "Press at random, not in step with the picture or with music: presses locked to the game's "
    "frames all wait alike, and their median can be wrong by up to half a game frame either way "
    "however many there are. Leave a second or so between presses, so that each answer has "
    "ended before the next, or press to a metronome whose beats are jittered."
)


@dataclass(frozen=True, slots=True)
class PhaseLock:
    """Whether presses keep step with a period.

    Attributes
    ----------
    strength : float
        Length of the mean phase vector: 0 spread evenly, 1 all in step.
    p : float
        Of so strong a step among presses at random (Rayleigh).
    locked : bool
        ``p`` is at most 0.01.
    """

    strength: float
    p: float
    presses: int
    period_s: float

    @property
    def locked(self) -> bool:
        """Whether the presses are told to be in step."""
        return self.p <= _TOLD_P

    def __str__(self) -> str:
        of = f"a period of {1e3 * self.period_s:.1f} ms"
        if self.locked:
            return (
                f"The {counted(self.presses, 'press')} keep step with {of} "
                f"(strength {self.strength:.2f}): their median may be off by up to half of it."
            )
        return f"The {counted(self.presses, 'press')} are not seen to keep step with {of}."


def metronome(
    beats: int,
    gap_s: float,
    rng: np.random.Generator,
    *,
    jitter_s: float | None = None,
    frame_s: float = _LONGEST_FRAME_S,
) -> Numbers:
    """Return the times of beats to press to, in seconds from the start, jittered evenly.

    Parameters
    ----------
    gap_s : float
        Mean time between beats.
    jitter_s : float | None
        Each beat is late by 0 to so much, rounded up to whole frames; a quarter of
        the gap unless given.
    frame_s : float
        A whole number of frames of all rates concerned; 1/30 s serves 30, 60 and 120.

    Raises
    ------
    BadSetting
        No beat, a gap that is not longer than the jitter, or a time that is not above zero.

    Notes
    -----
    Lateness uniform over whole frames makes the phase of every beat exactly uniform and
    independent of the others', whatever the gap. A person's own scatter only adds to it.
    """
    if beats < 1:
        raise BadSetting(f"{beats} beats cannot be; give one or more")
    if not (0.0 < gap_s < math.inf and 0.0 < frame_s < math.inf):
        raise BadSetting(f"a gap of {gap_s:g} s and a frame of {frame_s:g} s cannot both be")
    wanted = gap_s / 4.0 if jitter_s is None else jitter_s
    frames = max(1, math.ceil(wanted / frame_s - 1e-9))
    jitter = frames * frame_s
    if jitter >= gap_s:
        raise BadSetting(
            f"a jitter of {jitter:g} s does not fit a gap of {gap_s:g} s; give a longer gap"
        )
    return np.arange(beats) * gap_s + rng.uniform(0.0, jitter, beats)


def phase_lock(press_s: npt.ArrayLike, period_s: float) -> PhaseLock | None:
    """Return whether presses keep step with a period; None below 6 presses.

    Parameters
    ----------
    press_s : array, shape (n,)
        Lamp onsets in seconds on the clock on which the period is known.
    period_s : float
        Of a game frame or a refresh.

    Raises
    ------
    BadSample
        No time, or one that is not finite.
    BadSetting
        A period that is not above zero.

    Notes
    -----
    Over a long take the period must be right to a small part of itself divided by the
    number of periods, or a true step is smeared away: use a fitted refresh grid.
    """
    if not 0.0 < period_s < math.inf:
        raise BadSetting(f"a period of {period_s:g} s cannot be; give one above zero")
    times, _ = checked(press_s, 0.0)
    n = times.size
    if n < _FEWEST_PRESSES:
        return None
    strength = float(abs(np.exp(2j * np.pi * times / period_s).mean()))
    z = n * strength**2
    series = (
        1.0
        + (2.0 * z - z**2) / (4.0 * n)
        - (24.0 * z - 132.0 * z**2 + 76.0 * z**3 - 9.0 * z**4) / (288.0 * n**2)
    )
    # The series can fall below zero far out, where exp(-z) alone is of the right size.
    p = math.exp(-z) * (series if series > 0.0 else 1.0)
    return PhaseLock(strength, p, n, period_s)
