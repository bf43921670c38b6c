"""How far a measured take is off the truth of its scene."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from blinkspan.presses.correction import same_press
from blinkspan.presses.press import Press
from blinkspan.stage.truth import TruePress, Truth


@dataclass(frozen=True, slots=True)
class Score:
    """Measured presses beside the true ones.

    Attributes
    ----------
    presses, found, invented : int
        True presses, those of them that were found, and found ones that were none.
    missed, missed_told : int
        Presses that the game did not answer, and those of them found without a response.
    unanswered : int
        Answered presses for which no response was found.
    errors_ms : tuple of float
        Measured less true span of each press that has both.
    within_2u : int
        How many of these errors are at most twice their stated uncertainty.
    true_spans_ms : tuple of float
        Of the same presses.
    """

    presses: int
    found: int
    invented: int
    missed: int
    missed_told: int
    unanswered: int
    errors_ms: tuple[float, ...]
    within_2u: int
    true_spans_ms: tuple[float, ...]

    @property
    def bias_ms(self) -> float | None:
        """The mean error; None where there is none."""
        return math.fsum(self.errors_ms) / len(self.errors_ms) if self.errors_ms else None

    @property
    def rmse_ms(self) -> float | None:
        """The root of the mean squared error; None where there is none."""
        if not self.errors_ms:
            return None
        return math.sqrt(math.fsum(e * e for e in self.errors_ms) / len(self.errors_ms))


def against_truth(presses: Sequence[Press], truth: Truth) -> Score:
    """Return how measured presses compare with the true ones, matched by their lamp onsets.

    Press for press, each verdict counts alike: a doubtful span is held against the truth too.
    """
    onsets_s = [press.lamp_on_s for press in truth.presses]
    pairs: list[tuple[Press, TruePress]] = []
    for press in presses:
        place = same_press(press.lamp_on.value, onsets_s)
        if place is not None:
            pairs.append((press, truth.presses[place]))
    both = [
        (press.span, true.span_ms)
        for press, true in pairs
        if press.span is not None and true.span_ms is not None
    ]
    errors = tuple(1e3 * span.value - true_ms for span, true_ms in both)
    return Score(
        presses=len(truth.presses),
        found=len({true.number for _, true in pairs}),
        invented=len(presses) - len({true.number for _, true in pairs}),
        missed=sum(true.missed for true in truth.presses),
        missed_told=sum(true.missed and press.span is None for press, true in pairs),
        unanswered=sum(not true.missed and press.span is None for press, true in pairs),
        errors_ms=errors,
        within_2u=sum(
            abs(error) <= 2e3 * span.u for error, (span, _) in zip(errors, both, strict=True)
        ),
        true_spans_ms=tuple(true_ms for _, true_ms in both),
    )


def joined(scores: Sequence[Score]) -> Score:
    """Return the score of several takes as if they were one."""
    return Score(
        presses=sum(s.presses for s in scores),
        found=sum(s.found for s in scores),
        invented=sum(s.invented for s in scores),
        missed=sum(s.missed for s in scores),
        missed_told=sum(s.missed_told for s in scores),
        unanswered=sum(s.unanswered for s in scores),
        errors_ms=tuple(e for s in scores for e in s.errors_ms),
        within_2u=sum(s.within_2u for s in scores),
        true_spans_ms=tuple(ms for s in scores for ms in s.true_spans_ms),
    )
