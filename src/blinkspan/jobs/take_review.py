"""One take as a person reviews it: its presses in order of doubt, and what was said of them."""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from blinkspan.library import Library
from blinkspan.library.kept import KeptCorrection, KeptPress, KeptRun, KeptSetup, KeptTake
from blinkspan.presses.correction import SAME_PRESS_S
from blinkspan.presses.measurement import Measurement
from blinkspan.presses.press import Press, Verdict
from blinkspan.quantities import Measured
from blinkspan.traces.regions import Regions
from blinkspan.traces.trace import Trace

# A change this far up the response's course could be its onset; lower is the picture's own motion.
_RISE = 0.5
_REST = 0.25
_MOST_CANDIDATES = 6
# Two readings of one change lie nearer to each other than this.
_SAME_CHANGE_S = 0.006


@dataclass(frozen=True, slots=True)
class Candidate:
    """An instant that could be the response instead; ``source`` says in words where it is from."""

    at: Measured
    source: str


@dataclass(frozen=True, slots=True)
class ReviewedPress:
    """A press as it stands, what else could be its response, and the last word on it.

    Attributes
    ----------
    seen : int
        Key of the last correction or undoing of it, 0 for none: to be handed
        back with a correction, so that two people do not overwrite each other.
    """

    kept: KeptPress
    candidates: tuple[Candidate, ...]
    seen: int


@dataclass(frozen=True, slots=True)
class TakeReview:
    """A take, its setup, its last run and everything said of its presses.

    Attributes
    ----------
    run, measurement : KeptRun, Measurement or None
        None where the take is not measured yet; the measurement also where its
        traces have to be built again by measuring.
    presses : tuple of ReviewedPress
        In order of time.
    corrections : tuple of KeptCorrection
        In the order they were made, undoings among them.
    undo, redo : int | None
        Keys of what the next undoing and the next bringing back would undo.
    seen : int
        Key of the last correction or undoing of the take, 0 for none.
    """

    take: KeptTake
    setup: KeptSetup
    run: KeptRun | None
    measurement: Measurement | None
    given_regions: Regions | None
    presses: tuple[ReviewedPress, ...]
    corrections: tuple[KeptCorrection, ...]
    undo: int | None
    redo: int | None
    seen: int


def take_review(library: Path, take_id: int) -> TakeReview:
    """Return all that the review of a take shows.

    Raises
    ------
    NotInLibrary
        No take has that key.
    """
    with Library.open(library) as opened:
        return review_in(opened, take_id)


def review_in(opened: Library, take_id: int, before: TakeReview | None = None) -> TakeReview:
    """Return the review of a take of an open library.

    Parameters
    ----------
    before : TakeReview | None
        An earlier review of the take, from which is taken what stands as it was.
    """
    take = opened.take(take_id)
    run = (opened.runs(take) or (None,))[-1]
    known = {}
    if before is not None and before.run == run and before.measurement is not None:
        measurement: Measurement | None = before.measurement
        known = {each.kept.press: each.candidates for each in before.presses}
    else:
        measurement = None if run is None else opened.measurement(run)
    onsets_s = [] if measurement is None else [p.lamp_on.value for p in measurement.presses]
    said = opened.corrections(take)
    last = _last_words(said)

    def reviewed(kept: KeptPress) -> ReviewedPress:
        others = known.get(kept.press)
        if others is None:
            others = () if measurement is None else candidates(kept, measurement, onsets_s)
        return ReviewedPress(kept, others, _last_word(kept, last))

    undo, redo = next_steps(said)
    return TakeReview(
        take,
        opened.setup_of(take),
        run,
        measurement,
        opened.given_regions(take),
        tuple(reviewed(kept) for kept in opened.presses(take=take)),
        said,
        undo,
        redo,
        max((kept.id for kept in said), default=0),
    )


def doubt(press: Press) -> tuple[int, float]:
    """Return what presses are sorted by so that the most doubtful come first.

    Doubtful presses first, then accepted ones, those a person rejected last;
    among equals the larger uncertainty first, and no span at all before any.
    """
    rank = {Verdict.DOUBTFUL: 0, Verdict.ACCEPTED: 1, Verdict.REJECTED: 2}[press.verdict]
    return rank, -(math.inf if press.span is None else press.span.u)


def next_steps(said: Sequence[KeptCorrection]) -> tuple[int | None, int | None]:
    """Return which row an undo and a redo would have to undo, or None where there is nothing.

    An undoing is undone to bring its correction back; a new correction closes
    the way forward, as in every editor (common practice).
    """
    done: list[int] = []
    undone: list[int] = []
    for row in said:
        if row.undoes_id is None:
            done.append(row.id)
            undone.clear()
        elif row.undoes_id in done:
            done.remove(row.undoes_id)
            undone.append(row.id)
        else:
            if row.undoes_id in undone:
                undone.remove(row.undoes_id)
            done.append(row.id)
    return done[-1] if done else None, undone[-1] if undone else None


def candidates(
    kept: KeptPress, measurement: Measurement, onsets_s: Sequence[float]
) -> tuple[Candidate, ...]:
    """Return the instants that could be a press's response instead of the one that stands.

    Parameters
    ----------
    onsets_s : sequence of float
        The measured lamp onsets, rising.

    Notes
    -----
    What the program measured, where a person moved it; changes like a response
    that no press explains; and places where the response's trace rises again
    from rest. All lie between the lamp's onset and the next press's.
    """
    press = kept.press
    begin_s = press.lamp_on.value
    after = bisect_right(onsets_s, begin_s + 1e-9)
    end_s = onsets_s[after] if after < len(onsets_s) else math.inf
    found = []
    if kept.measured.response is not None:
        found.append(Candidate(kept.measured.response, "as measured"))
    found += [Candidate(at, "a change no press explains") for at in measurement.unpaired_responses]
    found += [
        Candidate(at, "the trace rises here")
        for at in rises(measurement.response_trace, begin_s, end_s)
    ]
    chosen: list[Candidate] = []
    taken_s = [] if press.response is None else [press.response.value]
    for each in found:
        at_s = each.at.value
        inside = begin_s < at_s < end_s
        if inside and all(abs(at_s - other) > _SAME_CHANGE_S for other in taken_s):
            chosen.append(each)
            taken_s.append(at_s)
    return tuple(sorted(chosen[:_MOST_CANDIDATES], key=lambda each: each.at.value))


def rises(trace: Trace, after_s: float, before_s: float = math.inf) -> list[Measured]:
    """Return where a trace rises from rest past half of a full response, between two instants.

    Each is the middle of the step to the sample above, known within that step.
    """
    first, stop = (int(at) for at in np.searchsorted(trace.start_s, (after_s, before_s)))
    values = trace.values[first : stop + 1]
    found, resting = [], True
    for at in np.flatnonzero(np.abs(np.diff(values)) > 0) + 1:
        if resting and values[at] >= _RISE:
            low, high = trace.start_s[first + at - 1], trace.start_s[first + at]
            half_s = float(high - low) / 2
            found.append(Measured(float(low) + half_s, half_s / math.sqrt(3.0)))
            resting = False
            if len(found) == _MOST_CANDIDATES:
                break
        elif values[at] <= _REST:
            resting = True
    return found


def _last_words(said: Sequence[KeptCorrection]) -> dict[int, float]:
    """Return where each row stands by the lamp onset that it was said of."""
    anchors = {row.id: row.correction.anchor_s for row in said if row.correction is not None}
    for row in said:  # an undoing stands where what it undoes stands
        if row.undoes_id is not None and row.undoes_id in anchors:
            anchors[row.id] = anchors[row.undoes_id]
    return anchors


def _last_word(kept: KeptPress, anchors: dict[int, float]) -> int:
    """Return the key of the last row bound to a press's lamp onset, by the rule of the library."""
    at_s = kept.measured.lamp_on.value
    return max((key for key, s in anchors.items() if abs(s - at_s) <= SAME_PRESS_S), default=0)
